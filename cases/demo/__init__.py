"""The demonstration: invented people, led along the path by the same functions as the pages."""
