"""A plan in words, pictures and data: told in blocks once, laid out for a terminal or as a page. Reckons nothing."""
