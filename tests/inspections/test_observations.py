"""Reading the observations of a report, however they were copied."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.observations import MOST, Observation, read

EICR = ("C1", "C2", "C3", "FI")
FIRE = ("intolerable", "substantial", "moderate", "tolerable", "trivial")


def said(text, codes=EICR):
    return [(one.code, one.says, one.place) for one in read(text, codes) if not one.fault]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("C2, Socket cracked, kitchen", [("C2", "Socket cracked", "kitchen")]),
        ("c2; Socket cracked, and loose; kitchen", [("C2", "Socket cracked, and loose", "kitchen")]),
        ('C2, "Socket cracked, and loose", kitchen', [("C2", "Socket cracked, and loose", "kitchen")]),
        ("Socket cracked, kitchen, C2", [("C2", "Socket cracked", "kitchen")]),
        ("Socket cracked C2", [("C2", "Socket cracked", "")]),
        ("C2 Socket cracked", [("C2", "Socket cracked", "")]),
        ("C2: Socket cracked", [("C2", "Socket cracked", "")]),
        ("C2 – Socket cracked", [("C2", "Socket cracked", "")]),
        ("Code 2, Socket cracked", [("C2", "Socket cracked", "")]),
        ("f/i, Reading not taken, board", [("FI", "Reading not taken", "board")]),
        ("1\tSocket cracked\tkitchen\tC2", [("C2", "Socket cracked", "kitchen")]),
        ("C2\tSocket cracked\tkitchen", [("C2", "Socket cracked", "kitchen")]),
        ("\n  C2, One\n\n C1, Two \r\n", [("C2", "One", ""), ("C1", "Two", "")]),
        ("C2, Comma; and more", [("C2", "Comma; and more", "")]),
    ],
)
def test_a_row_is_read_in_every_usual_shape(text, found):
    assert said(text) == found


def test_a_table_with_headings_is_read_by_them():
    text = "Item No\tLocation\tObservation\tCode\n4.3\tHall\tNo labels\tC3\n5.12\tLoft\tOpen joint\tC1"
    assert said(text) == [("C3", "No labels", "Hall"), ("C1", "Open joint", "Loft")]
    assert [one.item for one in read(text, EICR)] == ["4.3", "5.12"]


def test_rows_of_a_pdf_that_run_over_lines_are_put_together():
    text = "1 No RCD for socket outlets that may\nserve equipment outdoors C2\n2 Labels missing C3"
    assert said(text) == [
        ("C2", "No RCD for socket outlets that may serve equipment outdoors", ""),
        ("C3", "Labels missing", ""),
    ]
    assert [(one.line, one.item) for one in read(text, EICR)] == [(1, "1"), (3, "2")]


def test_or_follow_their_class():
    text = "C2 No RCD for socket outlets\nthat may serve equipment outdoors\nC3 Labels missing\nat the board"
    assert said(text) == [
        ("C2", "No RCD for socket outlets that may serve equipment outdoors", ""),
        ("C3", "Labels missing at the board", ""),
    ]


def test_words_of_a_fire_risk_assessment_are_classes():
    assert said("Moderate, Door wedged, stair", FIRE) == [("moderate", "Door wedged", "stair")]


@pytest.mark.parametrize(
    ("text", "line", "fault"),
    [
        ("C2, One\nOne\tTwo\tC9", 1, "No class"),
        ("Only words", 1, "No class. Write one of C1, C2, C3, FI first or last."),
        ("Lead\nC2, One", 1, "No class"),
        ("C2, One\nTwo, hall", 2, "No class"),
        ("Lead\nC2 One", 1, "No class"),
        ("C2", 1, "No text"),
        ("C2\tC3\tOne", 1, "More than one class"),
        ("Code\tObservation\nC7\tOne", 2, "‘C7’ is no class of this report"),
        ("C1, ok\nC2, " + "x" * 301, 2, "301 characters"),
        ("C2, x, " + "y" * 201, 1, "201 characters"),
    ],
)
def test_a_fault_names_its_line_and_the_cure(text, line, fault):
    wrong = [one for one in read(text, EICR) if one.fault]
    assert wrong[0].line == line
    assert fault in wrong[0].fault


def test_more_than_fit_are_refused_not_cut_off():
    assert len(read("C2, x\n" * MOST, EICR)) == MOST
    (only,) = read("C2, x\n" * (MOST + 1), EICR)
    assert only.fault
    assert only.line == MOST + 1


WORDS = st.text("abcdefgh ,;.-/()C12FI3\t\"'\n", max_size=80)


@given(WORDS)
def test_nothing_that_was_written_is_lost(text):
    found = read(text, EICR)
    kept = "".join(f"{one.says}{one.place}" for one in found)
    assert sorted(one for one in kept if one in "abdegh") == sorted(one for one in text if one in "abdegh")


@given(
    st.lists(st.tuples(st.sampled_from(EICR), st.sampled_from(["Loose", "Open joint", "Hot"])), max_size=12)
)
def test_what_is_written_out_is_read_back(rows):
    for sign in ("\t", "; ", ", "):
        text = "\n".join(sign.join((code, says, "hall")) for code, says in rows)
        assert read(text, EICR) == [
            Observation(number, code, says, "hall") for number, (code, says) in enumerate(rows, start=1)
        ]
