"""An invented first order with all its rows: 40 coat hooks in two colours, to be planned, made and looked back on."""

from casting_econ.kit import open_study
from casting_econ.projects.project import project_of

STUDY = """
[study]
name = "Marram Row Hooks (invented)"
craft = "epoxy"
currency = "EUR"
locale = "en_IE"
invented = true
seed = 7
[time]
weeks = "46 week/year"
hours = "20 h/week"
fixed_hours = "2 h/week"
weekly_tasks = ["books"]
one_off_tasks = ["photographs"]
[calendar]
monday = "09:00-13:00"
tuesday = "09:00-13:00"
wednesday = "09:00-13:00"
thursday = "09:00-13:00"
friday = "09:00-13:00"
[target]
per_hour = "15 EUR/h"
[spread]
minutes = "10 %"
[stations.pot]
count = 1
places = 12
[products.hook]
casts_per_load = 12
[products.hook.steps.pour]
minutes = "1 min" # mixing in it
materials.resin = { quantity = "20 g", price = "0.02 EUR/g" }
[products.hook.steps.cure]
load_minutes = "12 min"
wait = "10 h"
wait_in = "pot"
[products.hook.steps.take-out]
minutes = "2 min"
pass_share = "90 %"
[products.hook.steps.sand]
minutes = { low = "4 min", likely = "6 min", high = "9 min" }
materials.paper = { price = "0.05 EUR", kind = "consumable" }
[products.hook.steps.polish]
minutes = "3 min"
pass_share = "95 %"
[products.hook.mould]
materials.silicone = { quantity = "600 g", price = "0.03 EUR/g" }
minutes = "120 min"
life = 30
sets = 1
[channels.direct]
product = "hook"
orders = "6 orders/year"
pieces_per_order = 40
price = "600 EUR"
fee_share = "3 %"
postage_paid = "12 EUR"
packaging = "6 EUR"
minutes_per_order = "180 min"
[overheads]
power = "120 EUR/year"
[equipment.pressure-pot]
price = "240 EUR"
resale = "40 EUR"
life = "5 year"
life_loads = 400
[orders]
hours = "15 h/week"
[commissions.first]
product = "hook"
pieces = 40
variants = { teal = 24, sand = 16 }
start = 2026-03-02
due = 2026-04-17
channel = "direct"
price = "600 EUR"
"""
LOGS = {
    "batches": """batch,date,product,station,casts,good,checked,order
B1,2026-03-03,hook,pot,12,9,2026-03-10,first / teal
B2,2026-03-05,hook,pot,12,10,2026-03-12,first / teal
B3,2026-03-09,hook,pot,12,10,2026-03-16,first / sand
B4,2026-03-12,hook,pot,12,11,2026-03-24,first / teal
B5,2026-03-16,hook,pot,8,7,2026-03-24,first / sand
""",
    "faults": """date,batch,product,step,cause,pieces,fate
2026-03-04,B1,hook,take-out,voids,2,scrap
2026-03-09,B1,hook,polish,scratch,1,scrap
2026-03-06,B2,hook,take-out,voids,2,scrap
2026-03-10,B3,hook,take-out,voids,1,scrap
2026-03-16,B3,hook,polish,scratch,1,scrap
2026-03-13,B4,hook,take-out,voids,1,scrap
2026-03-17,B5,hook,take-out,voids,1,scrap
""",
    "timesheet": """date,step,minutes,product,pieces_handled,until,days,order
2026-02-27,mould,3 h,hook,,,,first
2026-03-03,pour,75,hook,,2026-03-16,5,first
2026-03-03,cure,65,hook,,2026-03-16,5,first
2026-03-04,take-out,3 h,hook,,2026-03-17,5,first
2026-03-06,sand,9 h,hook,,2026-03-20,5,first
2026-03-09,polish,2 h 30,hook,,,3,first
2026-03-23,photographs,2 h,hook,,,,first
Total,,20 h,,,,,
""",
    "purchases": """date,item,kind,quantity,unit,paid,order
2026-02-25,resin,material,2000,g,50,first
2026-02-25,silicone,material,1000,g,32,first
2026-02-26,pressure-pot,equipment,1,,260,first
2026-03-01,mixing cups,consumable,50,,5,first
""",
}


def write(folder, logs=LOGS, study=STUDY):
    """The study in a folder, with some of its logs; the folder."""
    (folder / "records").mkdir(parents=True)
    (folder / "study.toml").write_text(study, encoding="utf-8")
    for log, text in logs.items():
        (folder / "records" / f"{log}.csv").write_text(text, encoding="utf-8")
    return folder


NOTHING = dict.fromkeys(LOGS)


def told(folder, **asked):
    """The order of a study, looked at afterwards."""
    return project_of(open_study(folder), "first", **asked)


def with_logs(tmp_path, study=STUDY, **logs):
    """The study with some logs in the place of its own; None leaves one out."""
    return write(tmp_path / "hooks", {log: text for log, text in (LOGS | logs).items() if text is not None}, study)
