"""Channels, mix, sensitivity and information: what the study says to do, and how sure it is."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from commands import rates_copy
from hypothesis import given, settings
from hypothesis import strategies as st

from casting_econ.draws.information import partial_information, perfect_information
from casting_econ.draws.sobol import sobol_indices
from casting_econ.kit import format_of, open_study
from casting_econ.models import evaluate
from casting_econ.models.mix import best_mix
from casting_econ.pages import answer, change, conditions, sensitivity, waiting
from casting_econ.pages.change import study_with_scenarios
from casting_econ.pages.channels import drop_sentence, drop_table, order_table, price_floors
from casting_econ.pages.deciding import Decision, decision_of, decision_sentence, information_table, next_to_measure
from casting_econ.pages.mix import activities, mix_sentences, mix_table, the_mix
from casting_econ.pages.sensitivity import groups_of, sobol_table
from casting_econ.running.run import share

DEMOS = ["kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather"]


@cache
def demo(name="kelpmoor-handles", records=True):
    return open_study(rates_copy(name), with_records=records)


@cache
def busy(tmp="x"):
    """The first demo with half as many orders again."""
    kit = demo(records=False)
    entry = kit.study.file.scenarios["more-buyers"].model_copy(update={"scale": {"channels.*.orders": 1.5}})
    file = kit.study.file.model_copy(update={"scenarios": {"more-buyers": entry}})
    raw = kit.study.raw | {"scenarios": {"more-buyers": {"what": "x", "scale": {"channels.*.orders": 1.5}}}}
    return study_with_scenarios(replace(kit, study=replace(kit.study, file=file, raw=raw)), ["more-buyers"])


# ------------------------------------------------------------------ channels


def test_channels_alone_as_the_trade_notes_have_them():
    """Trade notes G1: online alone 16.1 an hour; 66 wholesale boxes alone 7.6."""
    a = demo(records=False).inputs()
    channels = {c.name: c for c in a.channels}
    boxes = replace(channels["wholesale"], orders_per_year=66.0, reference_price=None)
    online, wholesale = (evaluate(replace(a, channels=(c,))).totals["pay_per_hour"] for c in (channels["online"], boxes))
    assert online == pytest.approx(16.1, abs=0.05) and wholesale == pytest.approx(7.6, abs=0.05)


def test_wholesale_floors_of_the_trade_notes(tmp_path):
    """Trade notes G1: 6.70 at extra cost and 9.90 at full cost against a price of 8.00.

    By hand: a good piece takes 14.63 min and 1.54, so (14.63 / 60 x 16 + 1.54) / .95 = 5.73 a piece sold; a box of 24 takes 40 min, 9.80 and
    3.00, 0.98 a piece: 6.70. The notes leave refunds out; with 1 % refunded, postage once more, the floor is 6.77. What a
    good piece carries of overheads, equipment and weekly hours, (3,130 + 297 + 299 x 16) / 2,568 = 3.20, makes 9.90. But only
    2,440 of the 2,568 are sold and have to carry it: 3.37 a piece sold makes 10.07.
    """
    text = (
        (rates_copy("kelpmoor-handles") / "study.toml")
        .read_text(encoding="utf-8")
        .replace('refund_share = "1 %"', 'refund_share = "0 %"')
    )
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    plain = price_floors(open_study(tmp_path, with_records=False)).set_index("channel").loc["wholesale"]
    assert plain["price a piece"] == 8.0
    assert plain["extra cost"] == pytest.approx(6.70, abs=0.01) and plain["full cost"] == pytest.approx(
        6.70 + 3.20 / 0.95, abs=0.01
    )
    real = price_floors(demo(records=False)).set_index("channel").loc["wholesale"]
    assert real["extra cost"] == pytest.approx((6.705 + 0.01 * 9.80 / 24) / 0.99, abs=0.005)


@pytest.mark.parametrize("name", DEMOS)
def test_what_orders_leave_adds_up_to_the_year(name):
    """Orders at what each leaves, less overheads, equipment and stall fees, are the residual pay where nothing is cut."""
    kit = demo(name, records=False)
    found, point = activities(kit), kit.point()
    met = np.array([float(point.channels[c]["orders"]) for c in found.names])
    fixed = sum(
        float(point.totals[k]) for k in ("overhead_per_year", "equipment_per_year", "stall_fees_per_year", "ruined_loss_per_year")
    )
    assert met @ found.left - fixed == pytest.approx(float(point.totals["residual_pay_per_year"]), rel=1e-9)
    variable = float(point.totals["make_hours_per_year"] + point.totals["order_hours_per_year"])
    assert met @ found.hours == pytest.approx(variable, rel=1e-9)
    # use is linear in orders: all channels together use what the study's demand does
    for row, resource in zip(found.use, found.resources, strict=True):
        assert row @ found.demand == pytest.approx(float(point.utilisation_at_demand[resource]), rel=1e-9)
    table = order_table(kit)
    assert (table["left an order"] / table.hours).to_numpy() == pytest.approx(table["left an hour"].to_numpy())


def test_the_worth_of_what_is_full_is_that_of_a_little_more_of_it():
    kit = busy()
    found, mix = the_mix(kit)
    full = [n for n, worth in enumerate(mix.worth_of_resource) if worth > 1e-6]
    assert full and found.resources[full[0]] == "pressure-pot"
    for n in full:
        capacity = np.ones(len(found.resources))
        capacity[n] += 1e-4
        more = best_mix(found.after_target, found.use, capacity, found.demand)
        assert (more.contribution - mix.contribution) / 1e-4 == pytest.approx(mix.worth_of_resource[n], rel=1e-6)
    text = mix_sentences(kit, format_of(kit))
    assert "one more load a week is worth about" in text and "of wholesale" in text
    assert (mix_table(kit)["best mix"] <= mix_table(kit).demand + 1e-9).all()
    assert "Every channel is worth serving in full" in mix_sentences(demo(records=False), format_of(demo()))
    assert "less than the target for its own hours" in mix_sentences(
        demo("gannet-lane-figures"), format_of(demo("gannet-lane-figures"))
    )


def test_a_channel_is_dropped_on_common_draws_and_said_no_surer_than_it_is():
    kit = demo("gannet-lane-figures")
    frame = drop_table(kit, 1024)
    assert (frame["chance better"] > 0.99).all() and "would be better" in drop_sentence(frame, format_of(kit))
    kelp = drop_table(demo(), 1024)
    assert set(kelp.without) == {"online", "joiner", "wholesale"} and kelp["chance better"].min() < 0.01
    unsure = kelp.assign(**{"change beyond the target": 10.0, "chance better": 0.6})
    assert "might be better" in drop_sentence(unsure, format_of(demo()))
    assert "No channel is better dropped" in drop_sentence(kelp.assign(**{"change beyond the target": -5.0}), format_of(demo()))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_the_mix_is_the_best_corner_of_all(seed):
    """Two activities, two resources: the programme against every corner worked out by hand."""
    rng = np.random.default_rng(seed)
    gain, use, capacity, most = rng.uniform(-2, 5, 2), rng.uniform(0, 2, (2, 2)), rng.uniform(0.5, 3, 2), rng.uniform(0.2, 3, 2)
    mix = best_mix(gain, use, capacity, most)
    rows = np.vstack([use, np.eye(2), -np.eye(2)])
    limits = np.concatenate([capacity, most, np.zeros(2)])
    best = -np.inf
    for i in range(6):
        for j in range(i):
            pair = rows[[i, j]]
            if abs(np.linalg.det(pair)) > 1e-9:
                corner = np.linalg.solve(pair, limits[[i, j]])
                if (rows @ corner <= limits + 1e-9).all():
                    best = max(best, gain @ corner)
    assert mix.contribution == pytest.approx(best, abs=1e-7)


# ------------------------------------------------------------------ sensitivity


@pytest.mark.parametrize("name", DEMOS)
def test_indices_of_a_study(name):
    kit = demo(name)
    frame, found = sobol_table(kit, 1024)
    groups = groups_of(kit)
    assert sorted(n for group in groups for n in group) == list(range(len(kit.assumed.uncertain)))
    assert len(frame) == len(groups)
    # identities for independent groups: first orders sum to at most 1, totals to at least 1
    assert found.first[:, 0].sum() <= 1.0 + 0.05 and found.total[:, 0].sum() >= 1.0 - 0.05
    assert (found.total[:, 0] >= found.first[:, 0] - 0.03).all()
    spread = kit.monte_carlo(4096).draws["pay_per_hour"].var()
    assert found.variance[0] == pytest.approx(spread, rel=0.1)
    assert (np.diff(frame["on the year"]) <= 1e-12).all()


def test_tied_numbers_are_one_group():
    kit = demo()
    tied = [group for group in groups_of(kit) if len(group) > 1]
    names = [{kit.assumed.uncertain[n] for n in group} for group in tied]
    for key, found in kit.assumed.evidence.items():
        for other in found.tied:
            if other in kit.assumed.uncertain and key in kit.assumed.uncertain:
                assert any({key, other} <= group for group in names)


def test_a_group_counts_what_its_members_do_together():
    found = sobol_indices(lambda u: (u[:, 0] - 0.5) * (u[:, 1] - 0.5) + 0.1 * u[:, 2], 3, 4096, 1, [[0, 1], [2]])
    # variances 1/144 and 0.01/12
    share = (1 / 144) / (1 / 144 + 0.01 / 12)
    assert found.first[:, 0] == pytest.approx([share, 1 - share], abs=0.02)
    assert found.total[:, 0] == pytest.approx([share, 1 - share], abs=0.02)
    with pytest.raises(ValueError, match="each of 3 columns once"):
        sobol_indices(lambda u: u[:, 0], 3, 1024, 1, [[0], [1]])


# ------------------------------------------------------------------ information and the decision


def test_information_is_never_worth_less_than_nothing_nor_more_than_all():
    decision = decision_of(demo("ninepenny-lather"))
    frame = information_table(decision)
    assert decision.all_known.value > 2 * decision.all_known.error
    assert (frame.worth >= 0).all() and (frame.worth <= decision.all_known.value + 1e-9).all()
    assert (frame["worth of half the width"] <= frame.worth + 2 * frame.error + 1e-9).all()
    assert set(frame.kind) == {"number", "log"}


def test_the_worth_of_a_number_agrees_with_nested_draws():
    """Inner draws for each outer value of one number of a small model, against the regression on single draws."""
    rng = np.random.default_rng(5)
    x, y = rng.normal(size=(2, 20_000))

    def benefit(x, y):
        return 0.3 + np.maximum(x, -0.5) * (1 + 0.5 * y) + y

    actions = np.column_stack([np.zeros(x.size), benefit(x, y)])
    found = partial_information(actions, x)
    inner = benefit(x[:4000, None], rng.normal(size=(4000, 2000))).mean(axis=1)
    nested = np.maximum(inner, 0).mean() - max(inner.mean(), 0)
    error = np.maximum(inner, 0).std() / np.sqrt(4000)
    assert found.value == pytest.approx(nested, abs=4 * np.hypot(found.error, error))
    assert perfect_information(actions).value >= found.value
    assert partial_information(actions, rng.normal(size=x.size)).value < 3 * found.error + 0.005  # of nothing


def made(benefit):
    """A decision with a benefit of our own."""
    return Decision(kit=demo("ninepenny-lather"), benefit=np.asarray(benefit, float), values={})


def test_the_decision_in_words_switches_with_its_chance():
    fmt, noise = format_of(demo("ninepenny-lather")), np.random.default_rng(1).normal(size=4000)
    said = {
        "Go on.**": 3000 + 500 * noise,
        "Go on, but watch it": 300 + 500 * noise,
        "Rather not as it is": -300 + 500 * noise,
        "Stop, or change something": -3000 + 500 * noise,
        "cannot tell": noise,
    }
    for words, benefit in said.items():
        text = decision_sentence(made(benefit - (benefit.mean() if words == "cannot tell" else 0)), fmt)
        assert words in text and not any(other in text for other in said if other != words)
    assert made(300 + 500 * noise).right == pytest.approx((300 + 500 * noise > 0).mean())


def test_what_to_measure_next_in_words():
    kit = demo("ninepenny-lather")
    decision = decision_of(kit)
    text = next_to_measure(decision, information_table(decision), format_of(kit))
    assert "Measure next" in text
    sure = decision_of(demo("gannet-lane-figures"))
    assert "would hardly change the choice" in next_to_measure(sure, information_table(sure), format_of(kit))
    none = information_table(decision).assign(worth=0.0)
    assert "No single number is worth measuring" in next_to_measure(decision, none, format_of(kit))


@pytest.mark.parametrize("best", [None, 3])
def test_orders_are_no_measurement_where_waiting_for_them_is_worth_nothing(monkeypatch, best):
    """Where the job page says 'decide now', the first page does not ask to measure orders, which takes the same months; else it does."""
    kit = demo("ninepenny-lather")
    decision, fmt = decision_of(kit), format_of(kit)
    told = information_table(decision)
    orders, other = told[told.what == "markets: orders"], told[told.what == "what buyers will pay"]
    table = pd.concat([orders.assign(worth=200.0, error=1.0), other.assign(worth=90.0, error=1.0)])
    monkeypatch.setattr(waiting, "waiting_of", lambda *_: SimpleNamespace(best=best))
    first = answer.next_things(kit, decision, table, [], fmt)[0]
    assert first.startswith("**Measure: what buyers will pay**" if best is None else "**Measure: markets: orders**")
    said = next_to_measure(replace(decision, benefit=decision.benefit), table, fmt)
    assert ("**Measure next: markets: orders" in said) == (best is not None)
    assert ("Orders are not among them" in said) == (best is None)
    alone = next_to_measure(replace(decision, benefit=decision.benefit), orders.assign(worth=200.0, error=1.0), fmt)
    assert ("Only orders would be worth knowing, and the months that tell them cost more" in alone) == (best is None)
    assert "No single number" not in alone


def test_what_several_pages_ask_for_is_worked_out_once(monkeypatch):
    """After it is shared, the first page, sensitivity and change work out no decision, worth, swing, lever or scenario of their own."""
    kit = demo()
    share(kit, 256, 20)
    decision, first = decision_of(kit, 256, 20), next(iter(kit.study.file.products))
    for place in ("deciding.partial_information", "sensitivity.spread_values", "conditions.solve_for_target", "change.compared"):
        monkeypatch.setattr(f"casting_econ.pages.{place}", None)

    things = answer.next_things(kit, decision, information_table(decision), change.changed(kit, 256, 20), format_of(kit))
    assert len(things) == 3 and len(sensitivity.swing_table(kit)) and len(conditions.needed_table(kit, first))
