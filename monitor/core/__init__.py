"""The pure core: events in, assessments out. No input or output, no clock."""
