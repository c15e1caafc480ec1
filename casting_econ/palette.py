"""Colours of charts and of the words beside them."""

__all__ = ["BLUE", "GREEN", "GREY", "INK", "ORANGE", "SERIES", "SKY", "WORDS"]

# Okabe and Ito's palette: told apart with any common colour blindness, and by lightness in grey
INK, BLUE, ORANGE, GREEN, SKY, GREY = "#222222", "#0072B2", "#D55E00", "#009E73", "#56B4E9", "#767676"
SERIES = (BLUE, ORANGE, GREEN, INK, SKY)
# words beside a line take its colour where that is dark enough to read on white, else a darker one of the same hue
WORDS = {INK: INK, BLUE: BLUE, ORANGE: "#A84600", GREEN: "#006B4E", SKY: "#1B6A9A", GREY: "#666666"}
