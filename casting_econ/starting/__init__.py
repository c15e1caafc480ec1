"""A new study from a dozen plain answers, and the first answer it gives."""
