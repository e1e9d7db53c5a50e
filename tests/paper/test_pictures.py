"""Pictures: true to scale, black and white, and said in words too."""

import re
from xml.etree import ElementTree

import pytest

from api.paper import pictures
from api.paper.drawing import Picture

from .house import Json, printer

SVG = "{http://www.w3.org/2000/svg}"
POINTS = [
    {"batch": f"B-2026-{n:04d}", "z": str(n % 3 - 1), "missing": str(n / 4), "over": "0.5", "alarm": n > 20}
    for n in range(1, 25)
]


def every(documents: dict[str, Json]) -> dict[str, Picture]:
    say = printer()
    metals = documents["reconciliation"]["metals"]
    return {
        "band": pictures.band(documents["quote"], say),
        "bars": pictures.bars(documents["settlement"], say),
        "steps": pictures.steps(documents["settlement"], say),
        "flow": pictures.flow(metals["silver"], say),
        "drift": pictures.drift(POINTS, say),
    }


NAMES = ("band", "bars", "steps", "flow", "drift")


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_is_said_in_words(documents: dict[str, Json], name: str) -> None:
    picture = every(documents)[name]
    root = ElementTree.fromstring(picture.svg)
    assert root.get("role") == "img"
    assert root.findtext(f"{SVG}title")
    assert root.findtext(f"{SVG}desc") == picture.alt
    assert len(picture.alt) > 40


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_needs_no_colour(documents: dict[str, Json], name: str) -> None:
    for colour in re.findall(r"#[0-9a-f]{3,6}", every(documents)[name].svg):
        shade = colour[1:]
        size = len(shade) // 3
        assert len({shade[i : i + size] for i in range(0, len(shade), size)}) == 1, colour


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_drawn_outside_the_picture(documents: dict[str, Json], name: str) -> None:
    root = ElementTree.fromstring(every(documents)[name].svg)
    width, height = float(root.get("width", 0)), float(root.get("height", 0))
    for shape in root.iter():
        if shape.tag in (f"{SVG}text", f"{SVG}rect") and shape.get("x"):
            assert -0.01 <= float(shape.get("x", 0)) <= width
            assert 0 <= float(shape.get("y", 0)) <= height


def test_a_flow_is_in_true_proportion(documents: dict[str, Json]) -> None:
    silver = documents["reconciliation"]["metals"]["silver"]
    drawn = ElementTree.fromstring(pictures.flow(silver, printer()).svg)
    thick = []
    for path in drawn.iter(f"{SVG}path"):
        points = [float(n) for n in re.findall(r"-?[\d.]+", path.get("d", ""))]
        # M x1,y1 … V y: the thickness stands between the upper end and where the line goes down to.
        thick.append(points[8] - points[7])
    own = [float(g["g"]) for g in silver["own"].values()]
    went_in = [*own, float(silver["lent"]["g"])]
    scale = thick[0] / went_in[0]
    assert thick[: len(went_in)] == pytest.approx([g * scale for g in went_in], abs=0.02)
    assert sum(thick[len(went_in) :]) == pytest.approx(sum(went_in) * scale, abs=0.05)


def test_bars_are_to_scale_with_their_remainder(documents: dict[str, Json]) -> None:
    gold = documents["settlement"]["cases"]["final"]["metals"]["gold"]
    drawn = ElementTree.fromstring(pictures.bars(documents["settlement"], printer()).svg)
    widths = [float(r.get("width", 0)) for r in drawn.iter(f"{SVG}rect") if r.get("height") == "20.00"]
    grams = [*(float(b["fine"]["g"]) for b in gold["bars"]), float(gold["remainder"]["g"])]
    scale = widths[0] / grams[0]
    assert widths[: len(grams)] == pytest.approx([g * scale for g in grams], abs=0.02)
