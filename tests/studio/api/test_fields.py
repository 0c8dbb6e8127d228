"""What a body may say, field by field, and how it is answered."""

import pytest

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.api.example")]


def echoed(api, **fields):
    answer = api.post("everything/", fields)
    assert answer.status_code == 200, answer.content
    return answer.json()


def errors(api, **fields):
    answer = api.post("everything/", fields)
    assert answer.status_code == 400, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    return answer.json()["errors"]


@pytest.mark.parametrize(
    ("said", "answered"),
    [("2.5", "2.500000"), (2, "2.000000"), (2.5, "2.500000"), ("0.000001", "0.000001"), (0.1, "0.100000")],
)
def test_a_mass_is_a_decimal_text_or_an_exact_number_of_grams(api, said, answered):
    assert echoed(api, mass=said) == {"mass": answered}


@pytest.mark.parametrize(
    "said",
    [
        "0", 0, "-1", "2,5", "1e3", " 2", "2 ", "+2", "02", "2.", ".5", "", "NaN", "Infinity", "0.0000001",
        "1000000.1", 1e30, 1e-30, True, None, [], {}, "٢", "1_000", "0x10", "2.5 g",
    ],
)  # fmt: skip
def test_anything_else_is_no_mass(api, said):
    assert list(errors(api, mass=said)) == ["mass"]


def test_a_comma_is_met_with_a_hint(api):
    assert "not a comma" in errors(api, mass="2,5")["mass"][0]


def test_a_tare_may_be_zero_and_its_sentences_name_it(api):
    assert echoed(api, tare_mass="0") == {"tare_mass": "0.000000"}
    assert errors(api, tare_mass="-1") == {"tare_mass": ["The tare mass cannot be negative."]}


@pytest.mark.parametrize(
    ("said", "answered"), [("0.1", "0.1"), ("1", "1"), (1, "1"), ("0.100", "0.1"), (0.25, "0.25")]
)
def test_a_strength_is_a_fraction_written_as_short_as_it_is_exact(api, said, answered):
    assert echoed(api, strength=said) == {"strength": answered}


@pytest.mark.parametrize("said", ["0", "1.1", "10 %", "-0.1", "0.0000000001"])
def test_anything_else_is_no_strength(api, said):
    assert list(errors(api, strength=said)) == ["strength"]


def test_numbers_of_lots_and_batches_are_read_in_any_writing_and_answered_in_theirs(api):
    from studio.kernel.numbers import compose

    lot, batch = compose("lot", 26, 417), compose("batch", 26, 31)
    assert echoed(api, lot=lot.lower().replace("-", " "), batch=batch.replace("-", "")) == {
        "lot": lot,
        "batch": batch,
    }
    assert set(errors(api, lot=batch, batch=lot)) == {"lot", "batch"}
    assert "mistyped" in errors(api, lot=lot[:-1] + ("A" if lot[-1] != "A" else "B"))["lot"][0]
    assert set(errors(api, lot=260417)) == {"lot"}


@pytest.mark.parametrize(
    ("field", "said", "answered"), [("price", "3", "3.00"), ("density", "0.8", "0.8000")]
)
def test_other_decimals_are_answered_with_all_their_places(api, field, said, answered):
    assert echoed(api, **{field: said}) == {field: answered}


@pytest.mark.parametrize(
    ("field", "said"),
    [("price", "-1"), ("price", "0.001"), ("price", "1000000"), ("price", "9" * 41), ("density", "0"),
     ("density", "20.1"), ("density", "1e1")],
)  # fmt: skip
def test_decimals_out_of_bounds_are_refused(api, field, said):
    assert list(errors(api, **{field: said})) == [field]


def test_a_text_is_trimmed_and_composed(api):
    assert echoed(api, name="  cafe\u0301  ") == {"name": "café"}


@pytest.mark.parametrize("said", ["", "   ", "a\tb", "a\nb", "a\x07b", "a\x9fb", "x" * 11, 5, None, ["a"]])
def test_an_empty_long_or_garbled_text_is_refused(api, said):
    assert list(errors(api, name=said)) == ["name"]


def test_a_text_of_several_lines_keeps_them(api):
    assert echoed(api, story="a\r\nb\tc") == {"story": "a\nb\tc"}


@pytest.mark.parametrize(
    ("field", "said"),
    [("count", 0), ("count", 11), ("count", "5"), ("count", 1.5), ("count", True), ("count", 10**40), ("open", "yes"),
     ("open", 1), ("open", "true"), ("day", "2026-02-30"), ("day", "20260301"), ("day", "2026-W01-1"), ("day", 5),
     ("at", "2026-03-01T09:30:00"), ("at", "2026-03-01"), ("at", "0001-01-01T00:00:00+23:00"), ("at", "9999-12-31T23:59:59-23:00"),
     ("at", "2026-13-01T00:00:00Z"), ("at", 0), ("kind", "blend"), ("kind", ["vial"]), ("kind", {}), ("kind", None)],
)  # fmt: skip
def test_what_merely_looks_like_a_value_is_refused(api, field, said):
    assert list(errors(api, **{field: said})) == [field]


def test_whole_numbers_switches_days_and_words_are_echoed(api):
    said = {"count": 10, "open": False, "day": "2026-03-01", "kind": "vial"}
    assert echoed(api, **said) == said
    assert echoed(api, count=2.0) == {"count": 2}
    assert echoed(api, day=None) == {"day": None}


def test_a_moment_is_answered_in_utc(api):
    assert echoed(api, at="2026-03-01T10:30:00+01:00") == {"at": "2026-03-01T09:30:00Z"}
    assert echoed(api, at="2026-03-01T09:30:00.25z") == {"at": "2026-03-01T09:30:00.250000Z"}


def test_a_field_that_does_not_exist_is_refused_with_the_nearest_name(api):
    assert errors(api, mas="1") == {"mas": ["There is no field “mas” here. Did you mean “mass”?"]}


def test_every_fault_is_told_at_once_by_its_path(api):
    found = errors(api, lines=[{"mass": "1"}, {"mass": "0", "nota": 1}, {}, "x"], mass="-1", zzz=1)
    assert list(found) == ["mass", "zzz", "lines.1.mass", "lines.1.nota", "lines.2.mass", "lines.3"] or set(found) == {
        "mass", "zzz", "lines.1.mass", "lines.1.nota", "lines.2.mass", "lines.3",
    }  # fmt: skip


def test_the_first_fault_is_the_sentence_and_the_rest_is_counted(api):
    detail = api.post("everything/", {"mass": "-1", "count": 0}).json()["detail"]
    assert detail == "mass: The mass cannot be negative. (1 more below)"
