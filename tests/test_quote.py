"""The printed quote: what it says, in which language, on which paper, and that no text of a maker becomes markup."""

import dataclasses
import re
from datetime import date
from decimal import Decimal
from html.parser import HTMLParser

import pytest
from babel.dates import format_date
from babel.numbers import format_currency
from hypothesis import given, settings
from hypothesis import strategies as st

from casting_econ.faults import StudyError
from casting_econ.orders.quote import Quote, quote_amounts, quote_html
from casting_econ.reference import quote_words

LOCALES = {"en": "en_IE", "de": "de_CH", "fr": "fr_FR", "es": "es_ES", "it": "it_IT", "nl": "nl_NL"}
EXAMPLE = Quote(  # invented, as is every name in this file
    maker="Brindle Row Castings",
    contact="Shed 3, Brindle Row\norders@brindle-row.example",
    what="Cabinet knobs with pressed ferns, 38 mm across, satin finish, each with its screw.",
    pieces=56,
    set_of=14,
    variants={"moss green": 14, "smoke grey": 28, "clear with gold leaf": 14},
    price=818.2,
    postage=12.5,
    deposit=245.46,
    made_on=date(2026, 3, 2),
    valid_until=date(2026, 3, 16),
    posted_by=date(2026, 9, 24),
    arrives_by=date(2026, 9, 30),
    terms=(
        "Colours are mixed by hand and may differ a little from the sample.",
        "Bubbles under a millimetre are part of the work.",
        "Keep away from heat above 60 °C; not for use with food.",
        "The balance is paid before posting.",
    ),
    tax_note="No VAT is charged.",
    currency="EUR",
    locale="en_IE",
    invented=True,
)
PLAIN = dataclasses.replace(
    EXAMPLE, variants={}, set_of=1, postage=None, deposit=0.0, arrives_by=None, terms=(), tax_note="", contact=""
)
LIMITS = dataclasses.replace(PLAIN, postage=0.0, price=840.0, set_of=14)  # price is 15 a piece
HOSTILE = {
    "script": "</title></style><script>window.taken = 1</script>",
    "picture": '"><img src=x onerror="window.taken = 1">',
    "attribute": "' autofocus onfocus='window.taken = 1",
    "template": "{{ quote.price }}{% raw %}</table>&lt;b&gt;&amp;",
    "comment": "<!-- <![CDATA[ <?xml ?> ",
    "right to left": "\u202egnp.\u2066\u200f\u061c עברית",
    "emoji": "\U0001f9ff\U0001f468\u200d\U0001f3a8\ufe0f e\u0301",
    "long word": "W" * 5_000,
    "long text": "ferns & leaves < stones " * 209,
    "controls": "a\x00b\x1b[31mc\ud800d\r\ne\x85f",
}


class Reader(HTMLParser):
    """Elements with their attributes, pieces of text and everything else of a page, in order."""

    def __init__(self, page):
        super().__init__()
        self.elements, self.texts, self.others, self.open = [], [], [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, attributes))
        self.open = [tag] if tag == "style" else []

    def handle_endtag(self, tag):
        self.elements.append((f"/{tag}", []))
        self.open = []

    def handle_data(self, data):
        if data.strip() and self.open != ["style"]:
            self.texts.append(data.strip())

    def handle_comment(self, data):
        self.others.append(data)

    handle_decl = handle_pi = unknown_decl = handle_comment


def hostile(text, quote=EXAMPLE):
    """A quote with the same shape whose every text is the given one."""
    return dataclasses.replace(
        quote,
        maker=text,
        contact=text,
        what=text,
        changes=text,
        tax_note=text,
        terms=(text,) * len(quote.terms),
        variants={f"{text}{i}": pieces for i, pieces in enumerate(quote.variants.values())},
    )


def shown(text):
    """Text as a page can show it: no control characters, no half pairs, one kind of line end."""
    return re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]", "\ufffd", text.replace("\r\n", "\n")).strip()


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_text_of_a_maker_adds_no_element(text):
    """Whatever a text holds, the page has the elements and attributes of a harmless quote, and shows the text itself."""
    harmless, page = Reader(quote_html(hostile("knobs"))), Reader(quote_html(hostile(text)))

    assert page.elements == harmless.elements
    assert page.others == harmless.others == ["doctype html"]
    assert page.texts.count(shown(text)) == 5 + len(EXAMPLE.terms)  # maker, contact, what, changes, tax note
    assert sum(found.startswith(shown(text)) for found in page.texts) == 5 + len(EXAMPLE.terms) + len(EXAMPLE.variants)


def test_a_language_that_is_no_code_is_refused():
    """Where a language belongs no markup gets into the page; currency and locale are codes by the study file's own rules."""
    with pytest.raises(StudyError, match="quote:language: a language that the quote has no words in"):
        dataclasses.replace(EXAMPLE, language='"><b>')


def test_every_language_has_every_phrase():
    """Six languages, the same phrases in each, none empty, none copied from another, the same places to fill in."""
    words = quote_words()

    assert list(words) == list(LOCALES)
    for key in set().union(*words.values()):
        phrases = [words[language][key] for language in words]
        assert all(phrase == phrase.strip() != "" for phrase in phrases), key
        assert len(set(phrases)) == len(words), key
        assert len({tuple(re.findall(r"\{.*?\}", phrase)) for phrase in phrases}) == 1, key


@pytest.mark.parametrize("language", LOCALES)
def test_page_speaks_one_language(language):
    """Every piece of text is a phrase of the page's language or a value of the quote, and no phrase is never used."""
    words, used = quote_words()[language], set()
    for quote in (EXAMPLE, PLAIN, LIMITS):
        quote = dataclasses.replace(quote, locale=LOCALES[language])
        page, amounts = Reader(quote_html(quote)), quote_amounts(quote)
        rules = [words["changes_rule"], *([words["deposit_rule"]] if quote.deposit else []), words["law"]]
        phrases = {phrase.format(set_of=quote.set_of): key for key, phrase in words.items()}
        money = {format_currency(v, "EUR", locale=quote.locale) for v in vars(amounts).values() if isinstance(v, Decimal)}
        days = {format_date(v, "long", locale=quote.locale) for v in vars(quote).values() if isinstance(v, date)}
        counts = {str(n) for total in (quote.pieces, *quote.variants.values()) for n in (total, total // quote.set_of)}
        texts = {quote.maker, quote.contact, quote.what, quote.tax_note, *quote.terms, *quote.variants}
        title = f"{words['title']} – {quote.maker}"
        known = {*phrases, *money, *days, *counts, *texts, title, " ".join(rules)}

        assert [text for text in page.texts if text not in known] == []
        assert page.elements[0] == ("html", [("lang", language), ("dir", "ltr")])
        used |= {phrases[text] for text in page.texts if text in phrases}
        used |= {"changes_rule", "law"} if " ".join(rules) in page.texts else set()
        used |= {"deposit_rule"} if quote.deposit and " ".join(rules) in page.texts else set()

    assert used == set(words)


def test_french_and_german_phrases_keep_their_countries_rules():
    """No ß, which Switzerland does not use; French : and ; after a space that does not break. Both from memory:
    Swiss Federal Chancellery, Schreibweisungen; Imprimerie nationale, Lexique des règles typographiques."""
    words = quote_words()

    assert not any("ß" in phrase for phrase in words["de"].values())
    assert sum(phrase.count("\u00a0:") + phrase.count("\u00a0;") for phrase in words["fr"].values()) == 5
    assert not any(re.search(r"[^\u00a0][:;]", phrase) for phrase in words["fr"].values())


@pytest.mark.parametrize(
    ("language", "locale", "lang", "title", "values_in"),
    [
        (None, "de_AT", "de", "Angebot", None),
        ("de", "en_GB", "de", "Angebot", "en-GB"),
        ("NL-be", "fr_BE", "nl", "Offerte", "fr-BE"),
        ("en", "pl_PL", "en", "Quote", "pl-PL"),
        ("en", "ar_BH", "en", "Quote", "ar-BH"),
    ],
)
def test_language_of_phrases_and_of_values(language, locale, lang, title, values_in):
    """Phrases follow the language that is stated; amounts and dates stay in the locale and say so where it is another."""
    text = quote_html(dataclasses.replace(EXAMPLE, language=language, locale=locale))
    page = Reader(text)

    assert page.elements[0] == ("html", [("lang", lang), ("dir", "ltr")])
    assert page.texts[0].startswith(title)
    assert {dict(attributes).get("lang") for tag, attributes in page.elements if tag in ("bdi", "time") and attributes} == {
        values_in
    }
    assert format_date(EXAMPLE.posted_by, "long", locale=locale) in page.texts
    assert format_currency(818.2, "EUR", locale=locale) in page.texts


@pytest.mark.parametrize(("language", "locale"), [(None, "nb_NO"), ("xx", "it_IT"), (None, "pl_PL"), (None, "ar_BH")])
def test_a_language_without_words_is_refused(language, locale):
    """No English in place of a language that is not there: the message names those that are, and the line to write."""
    with pytest.raises(StudyError) as caught:
        dataclasses.replace(EXAMPLE, language=language, locale=locale)

    [fault] = caught.value.faults
    assert (fault.column, fault.found) == ("language", repr(language or locale))
    assert "en, de, fr, es, it, nl" in fault.right and 'language = "en"' in fault.right


def test_amounts_and_dates_as_the_countries_write_them():
    """Sign before or after, comma or point, day or month first: EU Interinstitutional Style Guide, 7.3.3 and 6.4, and
    The Chicago Manual of Style, 6.38, all from memory."""
    expected = {
        "en_IE": ("€818.20", "24 September 2026"),
        "en_US": ("€818.20", "September 24, 2026"),
        "de_DE": ("818,20\u00a0€", "24. September 2026"),
        "fr_FR": ("818,20\u00a0€", "24 septembre 2026"),
        "es_ES": ("818,20\u00a0€", "24 de septiembre de 2026"),
    }
    for locale, values in expected.items():
        assert set(values) <= set(Reader(quote_html(dataclasses.replace(EXAMPLE, locale=locale))).texts)


@pytest.mark.parametrize(("currency", "digits"), [("EUR", 2), ("JPY", 0), ("BHD", 3)])
@given(data=st.data())
@settings(max_examples=25, deadline=None)
def test_printed_amounts_add_up(currency, digits, data):
    """As printed, deposit and balance make the price, as do pieces and postage, in the minor units of ISO 4217 (from memory)."""
    price = data.draw(st.floats(1.0, 1e6))
    deposit, postage = (data.draw(st.floats(1.0, max(price, 1.0))) for _ in range(2))
    quote = dataclasses.replace(EXAMPLE, currency=currency, price=price, deposit=deposit, postage=postage)
    words, texts = quote_words()["en"], Reader(quote_html(quote)).texts

    def printed(key):
        return Decimal(re.sub(r"[^\d.]", "", texts[texts.index(words[key]) + (2 if texts.count(words[key]) > 1 else 1)]))

    printed_price = printed("total")
    assert -printed_price.as_tuple().exponent == digits
    assert printed("deposit") + printed("balance") == printed_price
    assert printed("all_pieces") + printed("postage") == printed_price
    assert abs(float(printed_price) - price) <= 0.5000001 * 10**-digits


def test_hand_worked_amounts():
    """818.20 with 12.50 postage: 805.70 over 56 pieces is 14.3875, so 14.39 rounded; 818.20 less 245.46 is 572.74."""
    amounts = quote_amounts(EXAMPLE)

    assert (str(amounts.pieces), str(amounts.each), amounts.each_is_rounded) == ("805.70", "14.39", True)
    assert (str(amounts.deposit), str(amounts.balance)) == ("245.46", "572.74")
    assert "€14.39" in Reader(quote_html(EXAMPLE)).texts


def test_price_a_piece_says_when_it_is_rounded():
    """840 over 56 pieces is 15 exactly; 818.20 is not a whole number of cents a piece."""
    words = quote_words()["en"]

    assert words["each"] in Reader(quote_html(LIMITS)).texts and words["each_rounded"] not in Reader(quote_html(LIMITS)).texts
    assert words["each_rounded"] in Reader(quote_html(PLAIN)).texts and words["each"] not in Reader(quote_html(PLAIN)).texts


def test_page_holds_no_number_but_the_offers():
    """Every number on the page is one of the offer or of its texts: nothing of the study's costs, hours or spares."""
    allowed = "3 38 60 56 14 28 4 1 2 818.20 805.70 12.50 14.39 245.46 572.74 2026 16 24 30".split()
    numbers = set(re.findall(r"\d+(?:\.\d+)?", "  ".join(Reader(quote_html(EXAMPLE)).texts)))

    assert numbers == set(allowed)


def test_own_wording_replaces_that_of_the_kit():
    """A maker's rule for changes stands alone, and a real quote is not marked as invented."""
    page = quote_html(dataclasses.replace(EXAMPLE, changes="No changes.", invented=False))
    words = quote_words()["en"]

    assert '<p class="lines" dir="auto">No changes.</p>' in page
    assert not any(words[key] in page for key in ("changes_rule", "deposit_rule", "law", "invented"))


def test_all_faults_at_once():
    """Pieces without a name and a language without words are two faults, in one go, each with what was found and what would be right."""
    with pytest.raises(StudyError) as caught:
        dataclasses.replace(EXAMPLE, what=" ", language="tlh")

    assert [(fault.column, fault.wrong, fault.found) for fault in caught.value.faults] == [
        ("language", "a language that the quote has no words in", "'tlh'"),
        ("what", "empty", "' '"),
    ]


def test_page_is_utf8_with_plain_line_ends():
    """Whatever line ends a maker's text has, the page has the plain ones, and every letter of it can be written."""
    page = quote_html(hostile("é\r\nü\ud800"))

    assert "é\nü" in page and "\r" not in page and page.encode("utf-8")


def contrast(first, second):
    """Contrast ratio of two colours: WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour):
        channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_text_colours_are_readable():
    """Every text colour has at least 4.5:1 on both backgrounds (WCAG 2.2, success criterion 1.4.3); black on white is 21:1."""
    style = re.search(r"<style>(.*?)</style>", quote_html(EXAMPLE), re.S)[1]
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", style))
    texts = set(re.findall(r"[^-]color: var\(--(\w+)\)", style))

    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert texts == {"ink", "soft"}
    assert all(contrast(colours[text], ground) >= 4.5 for text in texts for ground in ("#ffffff", colours["wash"]))


@pytest.mark.parametrize("quote", [EXAMPLE, PLAIN, LIMITS], ids=["example", "plain", "limits"])
def test_headings_and_tables_can_be_read_aloud(quote):
    """One first heading, second ones after it, every header cell says what it heads, every table is named by a heading."""
    elements = Reader(quote_html(quote)).elements
    headings = [tag for tag, _ in elements if re.fullmatch(r"h\d", tag)]
    anchors = {dict(attributes).get("id") for tag, attributes in elements if tag == "h2"}
    tables = [dict(attributes) for tag, attributes in elements if tag == "table"]

    assert headings == ["h1"] + ["h2"] * (len(headings) - 1)
    assert all(dict(attributes).get("scope") in ("row", "col") for tag, attributes in elements if tag == "th")
    assert len(tables) == 3 and all(table["aria-labelledby"] in anchors for table in tables)


def test_page_needs_nothing_else():
    """No script, no link, no picture, no address in the style."""
    page = quote_html(EXAMPLE)

    assert not {tag for tag, _ in Reader(page).elements} & {"script", "link", "img", "iframe", "a", "base", "object"}
    assert not re.search(r"url\(|@import|https?:", page)


@pytest.fixture(scope="module")
def opened(browser, tmp_path_factory):
    """Opens a quote in the one page of these tests, which must ask for nothing but its file."""
    path, page, asked = tmp_path_factory.mktemp("quote") / "quote.html", browser.new_page(), []
    page.on("request", lambda request: asked.append(request.url))

    def show(quote):
        asked.clear()
        path.write_text(quote_html(quote), encoding="utf-8")
        page.goto(path.as_uri())
        assert asked == [path.as_uri()]
        return page

    return show


def fits(page, width):
    """Whether nothing on the page is wider than the window or than its own frame."""
    page.set_viewport_size({"width": width, "height": 844})
    return page.evaluate(
        """[document.documentElement.scrollWidth, document.documentElement.clientWidth,
        [...document.body.querySelectorAll('*')].filter(e => e.clientWidth && e.scrollWidth > e.clientWidth + 1).length]"""
    ) == [width, width, 0]


def pages_of(printed):
    """Sizes of the sheets of a PDF, in points."""
    boxes = re.findall(rb"/MediaBox \[([\d. ]+)\]", printed)
    assert len(re.findall(rb"/Type /Page\b", printed)) == len(boxes)
    return [[float(side) for side in box.split()][2:] for box in boxes]


@pytest.mark.browser
@pytest.mark.parametrize("language", LOCALES)
def test_fits_phone_desktop_and_one_sheet(opened, language):
    """No sideways scroll at 390 and 1280; one sheet of A4 (ISO 216: 210 × 297 mm) and of US Letter (8.5 × 11 in)."""
    page = opened(dataclasses.replace(EXAMPLE, locale=LOCALES[language]))

    assert fits(page, 390) and fits(page, 1280)
    for paper, size in (("A4", (210 / 25.4 * 72, 297 / 25.4 * 72)), ("Letter", (612, 792))):
        (sheet,) = pages_of(page.pdf(format=paper))
        assert sheet == pytest.approx(size, abs=1.0)  # the browser writes whole pixels


@pytest.mark.browser
def test_long_words_and_large_amounts_wrap(opened):
    """Words of 5,000 letters and nine figures before the cents stay inside a phone, and run over several sheets."""
    page = opened(hostile(HOSTILE["long word"], dataclasses.replace(EXAMPLE, locale="es_ES", price=987_654_321.1)))

    assert fits(page, 390) and fits(page, 1280)
    assert len(pages_of(page.pdf(format="A4"))) > 5


@pytest.mark.browser
def test_browser_builds_no_element_from_text(opened):
    """The browser's own reader finds the elements of a harmless quote, and nothing in a text ever runs."""
    texts = list(HOSTILE.values())

    def page_of(words):
        quote = dataclasses.replace(EXAMPLE, pieces=14 * len(words), terms=tuple(words), variants=dict.fromkeys(words, 14))
        fields = dict(zip(("maker", "contact", "what", "changes", "tax_note"), words, strict=False))
        page = opened(dataclasses.replace(quote, **fields))
        return page.evaluate("[...document.querySelectorAll('*')].map(e => e.tagName).join()"), page.evaluate("window.taken")

    harmless = page_of([f"knobs {i}" for i in range(len(texts))])
    assert page_of(texts) == page_of(texts[::-1]) == harmless
    assert harmless[1] is None
