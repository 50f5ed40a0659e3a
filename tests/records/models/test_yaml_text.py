"""YAML is read as the text that was written, with its place."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from asfound.faults import Place
from asfound.records.models.yaml_text import DEEPEST, Document, parse
from tests.examples import examples


def read(text: str) -> Document:
    document, faults = parse("sensors/RH-101.yml", text.encode())
    assert [fault.text() for fault in faults] == []
    assert document is not None
    return document


def refused(text: str | bytes) -> list[tuple[int, int, str, str]]:
    document, faults = parse("a.yml", text if isinstance(text, bytes) else text.encode())
    assert document is None
    return [(f.place.line, f.place.column, f.rule.name, f.message) for f in faults]


def test_the_parser_is_the_c_library():
    """The pure Python parser gives the same records, ten times slower: 2,000 sensors would be felt."""
    assert YAML(typ="safe", pure=False).Parser.__name__ == "CParser", "install ruamel.yaml[oldlibyaml]"


@pytest.mark.parametrize("written", ["010", "no", "2026-03-14", "1e3", "0x1F", "12:30", "3.10", "true", ".5", "yes"])
def test_a_scalar_stays_the_text_that_was_written(written: str):
    assert read(f"serial: {written}\n").data == {"serial": written}


def test_nothing_is_nothing_and_quoted_nothing_is_text():
    data = read("a:\nb: ~\nc: null\nd: ''\ne: 'null'\nf: \"~\"\n").data
    assert data == {"a": None, "b": None, "c": None, "d": "", "e": "null", "f": "~"}


def test_an_empty_file_holds_nothing():
    assert read("").data is None
    assert read("# only a comment\n").data is None


def test_every_style_of_yaml_gives_the_same_data():
    block = "place:\n  - from: 2024-01-01\n    place: vault\nnote: |\n  two\n  lines\n"
    flow = '{place: [{from: 2024-01-01, place: "vault"}], note: "two\\nlines\\n"}'
    assert read(block).data == read(flow).data


def test_every_value_and_key_has_its_place():
    document = read("id: RH-101\nplace:\n  - {from: 2024-01-01, place: drying}\n  - from: 2025-01-01\n")
    path = "sensors/RH-101.yml"
    assert document.place("id") == Place(path=path, line=1, column=5)
    assert document.key_place("place", 0, "place") == Place(path=path, line=3, column=24)
    assert document.place("place", 0, "place") == Place(path=path, line=3, column=31)
    assert document.place("place", 1, "from") == Place(path=path, line=4, column=11)


def test_what_is_missing_has_the_place_of_what_is_around_it():
    document = read("id: RH-101\nplace:\n  - from: 2025-01-01\n")
    assert document.place("place", 0, "place").line == 3
    assert document.place("points", 0, "humidity") == Place(path="sensors/RH-101.yml")


def test_a_single_entry_has_the_place_of_the_list_that_it_stands_for():
    document = read("id: RH-101\ntolerance: {absolute: 2 %RH}\n")
    assert document.place("tolerance", 0, "absolute") == document.place("tolerance", "absolute")
    assert document.place("tolerance", 0, "absolute").column == 23


def test_a_byte_order_mark_and_crlf_are_read():
    document, faults = parse("a.yml", b"\xef\xbb\xbfid: RH-101\r\nname: x\r\n")
    assert faults == () and document is not None
    assert document.data == {"id": "RH-101", "name": "x"}
    assert document.place("name").line == 2


@pytest.mark.parametrize(
    ("text", "line", "column", "word"),
    [
        ("a: &x 1\n", 1, 4, "'&x'"),
        ("a: 1\nb: *x\n", 2, 4, "'*x'"),
        ("a: !secret 1\n", 1, 4, "'!secret'"),
        ("a: !!str 1\n", 1, 4, "'tag:yaml.org,2002:str'"),
        ("a: [1, &x 2]\n", 1, 8, "'&x'"),
        ("? *x\n: 1\n", 1, 3, "'*x'"),
        ("&x a: 1\n", 1, 1, "'&x'"),
    ],
)
def test_anchors_aliases_and_tags_are_refused(text: str, line: int, column: int, word: str):
    message = f"{word} is an anchor, alias or tag of YAML"
    assert refused(text) == [(line, column, "yaml-alias", message)]


def test_what_looks_like_an_anchor_inside_text_is_text():
    data = read('note: "- &x and *y"\nname: Rush & Sons *new* !\nlong: |\n  - &x\n  key: *y\n').data
    assert data["name"] == "Rush & Sons *new* !"
    assert data["long"] == "- &x\nkey: *y\n"


def test_a_merge_key_is_refused():
    assert refused("a: {<<: {b: 1}}\n") == [(1, 5, "yaml-alias", "'<<' merges another mapping")]


def test_a_key_stands_once():
    assert refused("id: a\nname: b\nid: c\n") == [(3, 1, "duplicate-key", "key 'id' stands twice here")]


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("a: [1, 2\nb: 3\n", 2, "not valid YAML: did not find expected ',' or ']'"),
        ("a: 1\n\tb: 2\n", 2, "not valid YAML: found a tab character that violates indentation"),
        ("a: 1\n---\nb: 2\n", 2, "a second document begins here"),
        ("? [a]\n: 1\n", 1, "a key is a list or a mapping"),
        ("a: 'x\n", 2, "not valid YAML: found unexpected end of stream"),
        ("[" * (DEEPEST + 5) + "]" * (DEEPEST + 5), 1, "this is nested too deeply"),
        (b"id: R\xe9\n", 1, "the file is not UTF-8 text"),
        (b"id: a\nname: \xff\n", 2, "the file is not UTF-8 text"),
    ],
)
def test_what_is_no_record_is_unreadable(text: str | bytes, line: int, message: str):
    (fault,) = refused(text)
    assert (fault[0], fault[2], fault[3]) == (line, "unreadable-yaml", message)


def test_control_characters_are_unreadable():
    (fault,) = refused("a: \x07\n")
    assert fault[2] == "unreadable-yaml"


@examples(60)
@given(st.binary(max_size=60))
def test_no_bytes_raise(content: bytes):
    document, faults = parse("a.yml", content)
    assert (document is None) == bool(faults)


@examples(60)
@given(st.text(alphabet="ab:-[]{}&*!|>'\"#?,\n <~%@`\t", max_size=40))
def test_no_text_of_yaml_signs_raises(text: str):
    document, faults = parse("a.yml", text.encode())
    assert (document is None) == bool(faults)
