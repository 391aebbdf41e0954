"""Recordings for other programs: samples and conclusions as tables, the final state as OpenMetrics text.

Nothing here changes a recording. What a table looks like is `tables`; how it is written, `csv_tables` and
`parquet_tables`.
"""
