"""The chain as a picture made from its graph: blocks near to far, plug and jack of every joint, arms of splitters below."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from chain.assembly.graph import FAR, NEAR, Connection, Node, SetupGraph, item_ohm, setup_graph
from chain.html.svg import Value, add, drawing_root, markup, path_of, shortened
from chain.setups import Arm, Item, Setup
from library.records import Coax, Pad, Splitter, Termination

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class DiagramBlock:
    """One box: its name, up to two lines under it, the letters of arms that begin at it, and how it is drawn."""

    name: str
    lines: tuple[str, ...]
    kind: str = "item"
    arms: tuple[str, ...] = ()
    calibrated: bool = False
    """The calibration plane lies at its far side."""


@dataclass
class Strand:
    """Blocks in a row; `joints` lie between neighbours (None: nothing is known of what meets there)."""

    blocks: list[DiagramBlock] = field(default_factory=list)
    joints: list[Connection | None] = field(default_factory=list)


def strands(setup: Setup) -> list[Strand]:
    """The chain near to far, then every arm of its splitters, from its port to its end."""
    graph = setup_graph(setup)
    plane = setup.calibration.plane
    first = DiagramBlock("analyzer", (f"{setup.near.impedance_ohm:g} ohm",), "port", (), plane == "near")
    waiting: list[tuple[Node, DiagramBlock]] = [(NEAR, first)]
    found: list[Strand] = []
    letters = iter([*LETTERS, *(f"{each}{number}" for number in range(2, 100) for each in LETTERS)])
    while waiting:
        at, block = waiting.pop(0)
        found.append(_strand(graph, setup, (at, block), (waiting, letters)))
    return found


Waiting = tuple[list[tuple[Node, DiagramBlock]], Iterator[str]]


def _strand(graph: SetupGraph, setup: Setup, start: tuple[Node, DiagramBlock], later: Waiting) -> Strand:
    at, block = start
    made = Strand([block])
    while True:
        onward = graph.connection_from(at)
        if onward is None:
            made.joints.append(None)
            made.blocks.append(_stated_end(graph.free_ports[at], graph.ends[at].line_ohm))
            return made
        other, joint = onward
        made.joints.append(joint)
        if other == FAR:
            made.blocks.append(DiagramBlock("antenna", (f"{setup.far.impedance_ohm:g} ohm",), "port"))
            return made
        load = graph.loads.get(other)
        if load is not None:
            made.blocks.append(
                DiagramBlock(load.id, (load.part.kind if load.part.name == "" else load.part.name,), "end")
            )
            return made
        at, block = _through(graph, other, setup.calibration.plane, later)
        made.blocks.append(block)


def _through(graph: SetupGraph, first: Node, plane: str, later: Waiting) -> tuple[Node, DiagramBlock]:
    """Far node of the item that begins at a node, and its block; arms that leave it are put off."""
    sides = graph.items_from(first)
    far, item = next(iter(sides.items()))
    if not isinstance(item.part, Splitter):
        return far, _block(item, (), plane)
    waiting, letters = later
    names = []
    for port in sides:
        if port[-1] == item.path[1]:
            continue
        letter = next(letters)
        names.append(letter)
        end = graph.ends[port]
        waiting.append((port, DiagramBlock(letter, (f"{item.id} {port[-1]}", str(end.connector)), "stub")))
    return next(port for port in sides if port[-1] == item.path[1]), _block(item, tuple(names), plane)


def _stated_end(arm: Arm | None, line_ohm: float) -> DiagramBlock:
    if arm is None:
        return DiagramBlock("not stated", (f"taken as {line_ohm:g} ohm",), "end")
    return DiagramBlock(f"{arm.end_ohm:g} ohm" if arm.end == "matched" else arm.end, ("end of the arm",), "end")


def _block(item: Item, arms: tuple[str, ...], plane: str) -> DiagramBlock:
    near_ohm, far_ohm = item_ohm(item)
    if isinstance(item.part, Coax):
        what = f"{item.part.id} {item.length_m:g} m"
    elif isinstance(item.part, Pad):
        what = f"pad {item.part.loss_db:.2f} dB"
    elif isinstance(item.part, (Splitter, Termination)):
        what = f"{item.path[0]} to {item.path[1]}" if item.path[0] else item.part.kind
    else:
        what = item.part.kind
    ohm = f"{near_ohm:g} ohm" if near_ohm == far_ohm else f"{near_ohm:g} to {far_ohm:g} ohm"
    turned = " (reversed)" if item.reversed else ""
    return DiagramBlock(item.id, (what + turned, ohm), "item", arms, plane == item.id)


def chain_words(setup: Setup) -> str:
    """The chain in one sentence, with connectors and genders."""
    return "; ".join(_words(each) for each in strands(setup)) + "."


def _words(strand: Strand) -> str:
    parts = []
    for number, block in enumerate(strand.blocks):
        parts.append(f"arm {block.name} from {block.lines[0]}" if block.kind == "stub" else block.name)
        if number < len(strand.joints):
            joint = strand.joints[number]
            parts.append("ended in" if joint is None else f"{joint.near.connector} to {joint.far.connector}")
    return ", ".join(parts)


BOX_W, BOX_H, GAP, MARGIN = 132.0, 66.0, 90.0, 14.0
ABOVE, BELOW = 30.0, 20.0
"""Room over a row for the plane and a verdict, and under it for connectors' names."""
TALL_W, TALL_H, TALL_GAP = 240.0, 56.0, 62.0
MOST_IN_A_ROW = 5
NAME_LETTERS, LINE_LETTERS = 16, 20


def chain_svg(setup: Setup, tall: bool = False) -> str:
    """Picture of the chain."""
    found = strands(setup)
    name = "chain-tall" if tall else "chain-wide"
    body = Element("g")
    width, height = _tall(body, found) if tall else _wide(body, found)
    root = drawing_root(width, height, name, "The chain from analyzer to antenna", chain_words(setup))
    root.append(body)
    return markup(root)


def _wide(body: Element, found: list[Strand]) -> tuple[float, float]:
    """Rows of boxes, wrapped; gives the size."""
    longest = max(len(each.blocks) for each in found)
    rows = -(-longest // MOST_IN_A_ROW)
    per_row = -(-longest // rows)
    wrapped = longest > per_row
    row = column = 0
    for strand in found:
        # Arms that are short stand beside one another.
        if column and column + len(strand.blocks) > per_row:
            row, column = row + 1, 0
        for number, block in enumerate(strand.blocks):
            if column == per_row:
                row, column = row + 1, 0
            x, y = MARGIN + wrapped * 12 + column * (BOX_W + GAP), ABOVE + row * (BOX_H + ABOVE + BELOW)
            if number < len(strand.joints):
                _leave(body, (x + BOX_W, y + BOX_H / 2), strand.joints[number], block.calibrated)
                if column == per_row - 1:
                    _wrap(body, x + BOX_W + GAP, y + BOX_H / 2)
            _box(body, block, (x, y, BOX_W, BOX_H))
            column += 1
        if strand is found[0]:
            row, column = row + 1, 0
    rows = row + (column > 0)
    width = 2 * MARGIN + wrapped * (12 + GAP) + per_row * (BOX_W + GAP) - GAP
    return width, rows * (BOX_H + ABOVE + BELOW) + 6


def _tall(body: Element, found: list[Strand]) -> tuple[float, float]:
    top = 4.0
    for strand in found:
        for number, block in enumerate(strand.blocks):
            if number < len(strand.joints):
                at = (MARGIN + TALL_W / 2, top + TALL_H + TALL_GAP / 2)
                add(body, "path", class_="wire", d=path_of([(at[0], top + TALL_H), (at[0], top + TALL_H + TALL_GAP)]))
                _joint(body, at, strand.joints[number], block.calibrated, upright=True)
            _box(body, block, (MARGIN, top, TALL_W, TALL_H))
            top += TALL_H + TALL_GAP
        top -= TALL_GAP - 24
    return TALL_W + 2 * MARGIN, top - 20


def _leave(body: Element, at: tuple[float, float], joint: Connection | None, calibrated: bool) -> None:
    x, y = at
    add(body, "path", class_="wire", d=path_of([(x, y), (x + GAP, y)]))
    _joint(body, (x + GAP / 2, y), joint, calibrated)


def _wrap(body: Element, x: float, y: float) -> None:
    """Wire from the end of a row to the start of the next."""
    down, next_y = y + BOX_H / 2 + BELOW + 6, y + BOX_H + ABOVE + BELOW
    corners = [(x, y), (x, down), (MARGIN - 8, down), (MARGIN - 8, next_y), (MARGIN + 12, next_y)]
    add(body, "path", class_="wire", d=path_of(corners))


def _box(body: Element, block: DiagramBlock, place: tuple[float, float, float, float]) -> None:
    x, y, width, height = place
    group = add(body, "g", class_="block")
    add(group, "title", ", ".join([block.name, *block.lines]))
    add(group, "rect", class_=f"box {block.kind}", x=x, y=y, width=width, height=height, rx=5)
    middle, lines = x + width / 2, block.lines[:2]
    first = y + height / 2 - 7 * len(lines) + 4
    add(group, "text", shortened(block.name, NAME_LETTERS), class_="name", x=middle, y=first, text_anchor="middle")
    for number, line in enumerate(lines):
        words = shortened(line, LINE_LETTERS)
        add(group, "text", words, class_="line", x=middle, y=first + 15 * (number + 1), text_anchor="middle")
    for number, letter in enumerate(block.arms):
        at = x + width - 16 - 22 * (len(block.arms) - 1 - number)
        add(group, "circle", class_="arm", cx=at, cy=y + height, r=9)
        add(group, "text", letter, class_="letter", x=at, y=y + height + 4, text_anchor="middle")


def _joint(
    body: Element, at: tuple[float, float], joint: Connection | None, calibrated: bool, upright: bool = False
) -> None:
    """Two connector halves face to face, their names, the verdict where it is not simply good, and the plane."""
    x, y = at
    if calibrated:
        _plane(body, at, upright)
    if joint is None:
        return
    group = add(body, "g", class_="joint", transform=f"translate({x:.1f} {y:.1f})")
    turned = add(group, "g", transform="rotate(90)") if upright else group
    for gender, way in ((joint.near.connector.gender, 1), (joint.far.connector.gender, -1)):
        _half(turned, gender, way)
    for end, side in ((joint.near, -1), (joint.far, 1)):
        words = (end.connector.family, end.connector.gender)
        if upright:
            add(group, "text", " ".join(words), class_="connector", x=16, y=side * 12 + 4)
        else:
            for number, word in enumerate(words):
                shift = 24 + 12 * number
                add(group, "text", word, class_="connector", x=side * 22, y=shift, text_anchor="middle")
    if joint.verdict != "ok":
        where: dict[str, Value] = (
            {"x": -16, "y": 4, "text_anchor": "end"} if upright else {"x": 0, "y": -14, "text_anchor": "middle"}
        )
        add(group, "text", f"! {joint.verdict}", class_="verdict", **where)


def _half(group: Element, gender: str, way: int) -> None:
    """One connector, its mating face towards the middle: a jack is a mouth, a plug a body with its pin."""
    back = -15.0 * way
    if gender == "plug":
        half = add(group, "g", class_="plug")
        add(half, "rect", x=min(back, back + 6 * way), y=-8, width=6, height=16)
        add(half, "path", d=path_of([(back, 0), (back + 22 * way, 0)]))
    elif gender == "jack":
        corners = [(back + 12 * way, -8), (back, -8), (back, 8), (back + 12 * way, 8)]
        add(group, "path", class_="jack", d=path_of(corners))
    else:
        add(group, "rect", class_="jack", x=min(back, back + 12 * way), y=-8, width=12, height=16)


def _plane(body: Element, at: tuple[float, float], upright: bool) -> None:
    x, y = at
    if upright:
        add(body, "path", class_="plane", d=path_of([(x - 96, y), (x - 20, y)]))
        add(body, "text", "calibrated here", class_="planeword", x=x - 22, y=y - 5, text_anchor="end")
    else:
        add(body, "path", class_="plane", d=path_of([(x, y - 44), (x, y + 12)]))
        add(body, "text", "calibrated here", class_="planeword", x=x, y=y - 50, text_anchor="middle")
