"""A study with some numbers moved, beside itself, under sliders."""
