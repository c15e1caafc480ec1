"""Colours of charts and of the words beside them, and the sizes that charts are drawn in."""

WIDTH = 3.85  # inches: in the 358 CSS pixels that a phone leaves, nine points are eleven pixels high
SMALL = 9  # points: no letters are smaller

# Okabe and Ito's palette: told apart with any common colour blindness, and by lightness in grey
INK, BLUE, ORANGE, GREEN, SKY, GREY = "#222222", "#0072B2", "#D55E00", "#009E73", "#56B4E9", "#767676"
WINE = "#AA3377"  # of Paul Tol's bright scheme: a fifth line that white does not swallow, as it does sky blue
SERIES = (BLUE, ORANGE, GREEN, INK, WINE)
# words take the colour of what they name where that is dark enough to read on white, else a darker one of its hue
WORDS = {INK: INK, BLUE: BLUE, ORANGE: "#A84600", GREEN: "#006B4E", WINE: WINE, GREY: GREY}
