"""Unit conversions against NIST and the unit tables."""

import pytest

from casting_econ import units
from casting_econ.units import ratio_of_units

SP811 = "NIST SP 811 (2008), app. B"
PINT = "hgrecco/pint default units (6fc0533)"


@pytest.mark.parametrize(
    ("unit", "wanted", "expected", "source"),
    [
        ("gallon", "liter", 3.785411784, SP811),  # M01
        ("gallon", "inch**3", 231.0, SP811),
        ("fluid_ounce", "milliliter", 29.5735295625, SP811),  # M02
        ("imperial_fluid_ounce", "milliliter", 28.4130625, PINT),  # M03
        ("oz", "gram", 28.349523125, SP811),  # M04
        ("lb", "gram", 453.59237, SP811),
        ("psi", "kilopascal", 6.894757293, SP811),  # M05
        ("atmosphere", "kilopascal", 101.325, SP811),
        ("atmosphere", "psi", 14.69595, SP811),
    ],
)
def test_ratio_of_units_published(unit, wanted, expected, source):
    """M01 to M05, to the digits printed."""
    assert ratio_of_units(unit, wanted, "USD") == pytest.approx(expected, rel=1e-6 if expected == 14.69595 else 1e-10), source


@pytest.mark.parametrize(
    ("unit", "wanted", "expected"),
    [
        ("week", "hour", 168.0),
        ("hour", "minute", 60.0),
        ("percent", "dimensionless", 0.01),
        ("EUR/kg", "EUR/gram", 0.001),
        ("kg/dimensionless", "gram", 1000.0),
    ],
)
def test_ratio_of_units_by_definition(unit, wanted, expected):
    """Definitions: 7 x 24 h, 60 min, a hundredth, a thousandth, and a kilogram for each of what is only counted."""
    assert ratio_of_units(unit, wanted, "EUR") == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("unit", "wanted", "message"),
    [
        ("gram", "liter", "cannot be read as liter"),
        ("grom", "gram", "unknown unit"),
        ("USD", "EUR", "money in USD while the study counts in EUR"),
    ],
)
def test_ratio_of_units_refuses_what_does_not_fit(unit, wanted, message):
    """Mass is not volume, a misspelt unit is unknown, one currency is not another."""
    with pytest.raises(ValueError, match=message):
        ratio_of_units(unit, wanted, "EUR")


def test_usual_words_give_what_pint_gives():
    """Each word that needs no pint, alone and over another, is to its base what pint makes of both, to the last digit."""
    registry = units.unit_registry("EUR")
    words = {"EUR": ("EUR", 1.0)} | units._PLAIN
    pairs = [(word, base) for word, (base, _) in words.items()]
    pairs += [(f"{a} / {b}", f"{words[a][0]}/{words[b][0]}") for a in words for b in words if words[a][0] != words[b][0]]
    pairs += [(word, "dimensionless") for word, (base, _) in words.items() if base in units.COUNTED]
    assert len(pairs) > 1500
    for unit, wanted in pairs:
        assert ratio_of_units(unit, wanted, "EUR") == registry.Quantity(1.0, registry.parse_units(unit)).to(wanted).magnitude, (
            unit
        )


@pytest.mark.parametrize(
    ("unit", "wanted"), [("g/ml", "ml/g"), ("g", "ml"), ("h/g", "g/h"), ("piece", "gram"), ("EUR", "minute")]
)
def test_usual_words_the_wrong_way_round_do_not_fit(unit, wanted):
    """A density is no volume of a mass, nor a mass a volume."""
    with pytest.raises(ValueError, match="cannot be read as"):
        ratio_of_units(unit, wanted, "EUR")


def test_what_pint_keeps_is_trusted_only_where_it_can_be_read(tmp_path, monkeypatch):
    """Units are the same kept the first time, read again, read from files cut short, and with nowhere to keep them; an ounce is 28.349523125 g
    (NIST SP 811, from memory)."""
    folder = tmp_path / "kept"

    def gram_of_an_ounce():
        return units.unit_registry.__wrapped__("").Quantity(1.0, "ounce").to("gram").magnitude

    monkeypatch.setattr("platformdirs.user_cache_path", lambda **_: folder)
    first, again = gram_of_an_ounce(), gram_of_an_ounce()
    kept = list(folder.rglob("*.pickle"))
    for path in kept:
        path.write_bytes(path.read_bytes()[:20])
    cut = gram_of_an_ounce()
    folder = kept[0] / "none"
    assert kept and first == again == cut == gram_of_an_ounce() == pytest.approx(28.349523125, rel=1e-12)
