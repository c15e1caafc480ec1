"""A maker of one tile whose study asks its logs for nearly everything."""

from casting_econ.study import read_study

TILE = """
[study]
name = "Tile"
currency = "EUR"
[time]
weeks = "46 week/year"
hours = "30 h/week"
fixed_hours = { value = "5 h/week", from = "records", worth = "2 weeks" }
weekly_tasks = ["books", "cleaning"]
[calendar]
monday = "09:00-17:00"
[target]
per_hour = "15 EUR/h"
[products.tile]
casts_per_load = 10
[products.tile.steps.cast]
minutes = { value = "1 min", from = "records", worth = "10 pieces" }
load_minutes = { value = "20 min", from = "records", worth = "2 loads" }
wait = "12 h"
materials.plaster = { quantity = "50 g", price = { value = "4 EUR/kg", from = "records", worth = "0.001 kg" } }
materials.oil = { quantity = "2 oz", price = { value = "0.30 EUR/oz", from = "records", worth = "4 oz" } }
[products.tile.steps.trim]
minutes = { value = "2 min", from = "records", worth = "10 pieces" }
pass_share = { value = "90 %", from = "records", worth = "10 pieces" }
[products.tile.steps.glaze]
pass_share = { value = "95 %", from = "records", worth = "10 pieces" }
[products.tile.mould]
materials.rubber = { price = "9 EUR" }
minutes = "60 min"
life = { value = 30, from = "records", worth = "1 mould" }
life_shape = 1
[channels.shop]
product = "tile"
orders = { value = "120 orders/year", from = "records", worth = "2 months" }
pieces_per_order = 1
price = { value = "12 EUR", from = "records", worth = "2 orders" }
postage_paid = { value = "4 EUR", from = "records", worth = "2 orders" }
refund_share = { value = "10 %", from = "records", worth = "10 orders" }
minutes_per_order = { value = "9 min", from = "records", worth = "3 orders" }
"""
STEPS = "products.tile.steps"
MONTH = 365.2425 / 12  # days
FAIR = '[channels.fair]\nproduct = "tile"\norders = "1 order/year"\npieces_per_order = 1\nprice = "12 EUR"\n'


def tile_study(folder, text=TILE, **logs):
    """The study in a folder, with logs by name, rows of text under a header; read."""
    (folder / "records").mkdir(exist_ok=True)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    for name, rows in logs.items():
        (folder / "records" / f"{name}.csv").write_text("\n".join(rows.split()) + "\n", encoding="utf-8")
    return read_study(folder)


# each kind of number from a small study
BATCHES = """
batch,date,product,moulds,casts,good
B1,2025-01-06,tile,M1;M2,10,7
B2,2025-01-07,tile,M1,10,8
"""
ONE_SALE = "date,channel,product,pieces,price\n2025-03-06,shop,tile,1,12"
PURCHASES = "date,item,kind,quantity,unit,paid\n{0},sand,material,1,kg,7\n{1},sand,material,1,kg,7"
