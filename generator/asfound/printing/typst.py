"""Typesetting: a document of a template and the texts that stand on it, as a PDF, a pure function of both.

PDF/A-3a and PDF/UA-1 are declared, not validated: no validator of both is at hand. Fonts come with typst and from a
declared package, never from the system.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import typst
from font_source_sans_pro import font_directory  # type: ignore[import-untyped]

from asfound.printing.templates import template_files
from asfound.printing.text import clean
from asfound.printing.unprintable import Unprintable
from asfound.refusals import Refusal

CHARACTER_TEMPLATE = "one character.typ"
FACES = ("Regular", "It", "Semibold", "Bold")


@contextmanager
def printing(templates: tuple[Path, ...]) -> Iterator[Printer]:
    """A printer with its templates and fonts in one folder of their own, so that no other file can find its way in."""
    with tempfile.TemporaryDirectory(prefix="asfound-") as name:
        folder = Path(name)
        for relative, path in template_files(templates, "certificate").items():
            (folder / relative).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, folder / relative)
        fonts = folder / "fonts"
        fonts.mkdir()
        for face in FACES:
            # One format of each face: which of two is taken would depend on the order of a folder.
            shutil.copy(Path(font_directory) / f"SourceSansPro-{face}.otf", fonts)
        yield Printer(folder)


class Printer:
    """Sets documents of the templates in the folder `certificate`; may be used from several threads."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[folder / "fonts"])
        self.printable: dict[str, bool] = {}
        (folder / CHARACTER_TEMPLATE).write_text(
            '#set document(title: "x", date: datetime(year: 2000, month: 1, day: 1))\n#sys.inputs.shown\n'
        )

    def typeset(self, template: str, inputs: dict[str, str], said: Any) -> bytes:
        """A document of a template in the folder `certificate`; `said`: whatever holds the texts that it prints.

        Raises Unprintable where a text holds a character that no font has, and Refusal for a bad template.
        """
        try:
            return self._compiled(template, inputs)
        except typst.TypstError as problem:
            missing = [
                (field, text, character)
                for field, text in _texts(said)
                for character in dict.fromkeys(text)
                if not character.isascii() and not self._can_print(character)
            ]
            if missing:
                raise Unprintable(missing) from None
            raise Refusal(
                f"the template {template} does not compile:\n{problem.diagnostic.strip()}",
                f"correct certificate/{template} in your templates, or delete it to use the packaged one",
            ) from problem

    def _compiled(self, template: str, inputs: dict[str, str]) -> bytes:
        return typst.compile(
            self.folder / template,
            root=self.folder,
            font_paths=self.fonts,
            ignore_system_fonts=True,
            sys_inputs=inputs,
            pdf_standards=["a-3a", "ua-1"],
        )

    def _can_print(self, character: str) -> bool:
        """Whether the fonts have a character: the typesetter itself is asked."""
        if character not in self.printable:
            try:
                self._compiled(CHARACTER_TEMPLATE, {"shown": f"x{clean(character)}"})
                self.printable[character] = True
            except typst.TypstError:
                self.printable[character] = False
        return self.printable[character]


def _texts(value: Any, field: str = "") -> Iterator[tuple[str, str]]:
    """Every (dotted field, text) of a statement."""
    if isinstance(value, str):
        yield field, value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _texts(inner, f"{field}.{key}" if field else key)
    elif isinstance(value, list):
        for position, inner in enumerate(value):
            yield from _texts(inner, f"{field}[{position}]")
