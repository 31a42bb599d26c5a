"""Draws the circuits as SVG files beside this file: `python3 -m wiring.drawings.draw`, in the folder of agent.py.

A background of their own, so that they can be read on a dark page and on a light one.
"""

from html import escape
from pathlib import Path

from .circuits import CIRCUITS

WIDTH, TOP, ROW = 640, 70, 48
LEFT, RIGHT = 140, 450  # where the wires end
STYLE = (
    "text{font:13px sans-serif;fill:#222}.h{font-size:16px;font-weight:bold}.n{font-size:12px}"
    "path,rect,circle{stroke:#222;stroke-width:1.5;fill:none}.b{fill:#fff}.d{fill:#222}.o{stroke-dasharray:4 3}"
)


def drawing(circuit):
    """The SVG's text."""
    height = TOP + ROW * len(circuit.rows) + 18 * len(circuit.notes) + 8
    wires = "; ".join(words for words in map(in_words, circuit.rows) if words)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="t d">',
            f'<title id="t">{escape(circuit.title)}</title>',
            f'<desc id="d">{escape(f"{wires}. {links_in_words(circuit)}{chr(32).join(circuit.notes)}")}</desc>',
            f"<style>{STYLE}</style>",
            f'<rect width="{WIDTH}" height="{height}" style="fill:#f7f4ec;stroke:none"/>',
            f'<text class="h" x="12" y="24">{escape(circuit.title)}</text>',
            *board(circuit.rows),
            *(piece for box in circuit.boxes for piece in part(*box)),
            *(piece for place, row in enumerate(circuit.rows) for piece in wire(place, row, circuit.links)),
            *(piece for link in circuit.links for piece in joined(link)),
            *(text(12, height - 18 * (len(circuit.notes) - n) + 6, note, "n") for n, note in enumerate(circuit.notes)),
            "</svg>",
            "",
        ]
    )


def in_words(row):
    if row.left is None or row.right is None:
        return ""
    between = "".join(f" through {label}" for _, label in row.inline)
    return f"{row.left.lstrip('~ ')} to {row.right}{between}"


def links_in_words(circuit):
    def name(row):
        return row.right if row.left is None or row.left.startswith("~") else row.left

    return "".join(
        f"{link.label or 'A wire'} between {name(circuit.rows[link.above])} and {name(circuit.rows[link.above + 1])}. "
        for link in circuit.links
    )


def y_of(place):
    return TOP + ROW * place + 10


def x_of(place):
    return LEFT + 30 + 50 * place


def text(x, y, words, kind="", anchor="start"):
    kind = f' class="{kind}"' if kind else ""
    anchor = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text{kind}{anchor} x="{x}" y="{y}">{escape(words)}</text>'


def board(rows):
    """The board's pins in one box; what is not the board stands in a dashed one."""
    own = [place for place, row in enumerate(rows) if row.left and not row.left.startswith("~")]
    first, last = y_of(min(own)) - 14, y_of(max(own)) + 14
    yield f'<rect class="b" x="12" y="{first}" width="{LEFT - 12}" height="{last - first}"/>'
    yield text(12, first - 6, "board", "n")
    for place, row in enumerate(rows):
        if row.left is None:
            continue
        if row.left.startswith("~"):
            yield f'<rect class="b o" x="12" y="{y_of(place) - 14}" width="{LEFT - 12}" height="28"/>'
        yield text(LEFT - 8, y_of(place) + 5, row.left.lstrip("~ "), anchor="end")


def part(name, first, last):
    top, bottom = y_of(first) - 14, y_of(last) + 14
    yield f'<rect class="b" x="{RIGHT}" y="{top}" width="{WIDTH - RIGHT - 12}" height="{bottom - top}"/>'
    yield text(WIDTH - 12, top - 3, name, "n", "end")


def wire(place, row, links):
    y = y_of(place)
    touching = [x_of(link.place) for link in links if place in (link.above, link.above + 1)]
    begin = LEFT if row.left else min(touching)
    end = RIGHT if row.right else max(touching)
    yield f'<path d="M{begin} {y}H{end}"/>'
    # What comes from outside passes its fuse first; a resistor stands at the part, beyond what joins the wire at the board.
    at = x_of(0) + 8 if row.left and row.left.startswith("~") else RIGHT - 62
    for number, (symbol, label) in enumerate(row.inline):
        x = at + 80 * number
        yield f'<rect class="b" x="{x - 18}" y="{y - 6}" width="36" height="12"/>'
        if symbol == "fuse":
            yield f'<path d="M{x - 18} {y}h36"/>'
        yield text(x, y - 10, label, "n", "middle")
    if row.right:
        yield text(RIGHT + 8, y + 5, row.right)


def joined(link):
    x, above, below = x_of(link.place), y_of(link.above), y_of(link.above + 1)
    middle = (above + below) // 2
    yield f'<circle class="d" cx="{x}" cy="{above}" r="2.5"/>'
    yield f'<circle class="d" cx="{x}" cy="{below}" r="2.5"/>'
    if link.symbol == "capacitor":
        yield f'<path d="M{x} {above}V{middle - 3}M{x} {below}V{middle + 3}M{x - 9} {middle - 3}h18m-18 6h18"/>'
    else:
        yield f'<path d="M{x} {above}V{below}"/>'
    if link.symbol == "resistor":
        yield f'<rect class="b" x="{x - 6}" y="{middle - 13}" width="12" height="26"/>'
    elif link.symbol == "diode":
        yield f'<path class="d" d="M{x - 8} {middle + 7}h16l-8 -14z"/><path d="M{x - 8} {middle - 7}h16"/>'
    if link.label:
        yield text(x + 12, middle + 5, link.label, "n")


def main():
    for name, circuit in CIRCUITS.items():
        Path(__file__).with_name(f"{name}.svg").write_text(drawing(circuit), encoding="utf-8")


if __name__ == "__main__":
    main()
