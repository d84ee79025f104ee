"""The order list as a workbook, and what is left over as the stock file of the next term."""

from __future__ import annotations

import csv
import io
import json
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from course.board_plans import BoardPlan
from course.cut_sheets import Area
from course.cutlist_files import plain
from course.left_over import left_over
from course.order import Order
from course.sheet_plans import SheetPlan, sheets_in_words
from shared.handbook.lumber import BOARD_FOOT
from shared.places import Place
from shared.units import INCH, Shown, decimal, fraction


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One line of the order list, as finished text."""

    what: str
    size: str
    need: str
    on_hand: str
    buy: str
    price: str
    cost: str
    why: str


@dataclass(frozen=True, slots=True)
class SpareRow:
    """Spares of one kind of part, as finished text."""

    stock: str
    count: str
    why: str


WIDEST = 42
"""Widest column of the workbook. [letters]"""
WIDTHS = {"What": 30, "Size": 27, "To buy": 17, "Why": 72}
"""Widest of some columns, so that the order list can be read on one page's width. [letters]"""
NUMBERS = {"Price each": "0.00", "Cost": "0.00", "Spares": "0"}
"""Columns whose cells are numbers, and how these are shown."""
NOTHING = {
    "Alternatives": "Nothing was found that would save a sheet.",
    "Sheets given out": "Every student has a sheet by the roster, or there is none to give.",
    "To look at": "Nothing.",
}
"""What stands on a sheet without rows."""
LINE = 15
"""Height of a line of the workbook. [pt]"""
HEADINGS = ("What", "Size", "Needed", "On hand", "To buy", "Price each", "Cost", "Why")


def order_rows(order: Order) -> tuple[OrderRow, ...]:
    """The order list: sheets, then boards."""
    return (
        *(row for plan in order.sheets for row in _sheet_rows(order, plan)),
        *(_board_row(order, plan) for plan in order.boards),
    )


def _money(value: Fraction | None) -> str:
    """A price with two decimals; empty when nobody stated one."""
    if value is None:
        return ""
    whole, cents = divmod(round(value * 100), 100)
    return f"{whole}.{cents:02}"


def _sheet_rows(order: Order, plan: SheetPlan) -> Iterator[OrderRow]:
    """One row, and one more for each further size that is bought."""
    shown = order.shown
    used = f"{round(plan.share_used * 100)}\u00a0% of the sheets become pieces" if plan.sheets else ""
    why = "; ".join(word for word in (plan.how_good, used) if word)
    needed, there = sheets_in_words(plan.needed), sheets_in_words(plan.on_hand)
    piece = plan.piece
    if not plan.bought:
        sides = (piece.length, piece.width) if piece else ()
        size = _size(shown, *(side for side in sides if side), plan.thickness)
        price = _money(piece.price if piece else None)
        yield OrderRow(plan.group.says, size, needed, there, sheets_in_words(0), price, "", why)
    for one in plan.bought:
        what = plan.group.says if piece and piece.measured else f"{plan.group.says}, {one.name}"
        cost = one.price * one.count if one.price is not None else None
        yield OrderRow(
            what, _size(shown, one.length, one.width, plan.thickness), needed, there, sheets_in_words(one.count),
            _money(one.price), _money(cost), why,
        )  # fmt: skip
        needed, there, why = "", "", "see above"


def _size(shown: Shown, *sides: Fraction) -> str:
    return " \u00d7 ".join([*(shown.bare(side) for side in sides[:-1]), shown.size(sides[-1])])


def _board_row(order: Order, plan: BoardPlan) -> OrderRow:
    shown = order.shown
    waste = round((1 - plan.share) * 100)
    why = (
        f"{decimal(plan.parts, 1)} for parts, {decimal(plan.spares, 1)} for spares, {decimal(plan.set_up, 1)} for test "
        f"pieces and set-up blocks; {waste}\u00a0% is counted as waste (the parts alone: {plan.order_of_parts}). "
        f"As laid out: {plan.layout.how_good}{_sizes_bought(plan, shown)}"
    )
    size = f"{shown.size(plan.thickness)} rough"
    cubic = decimal(plan.buy * BOARD_FOOT / 10**9, 3)
    buy = f"{plan.buy} board feet" + (f" ({cubic} m\u00b3)" if shown.unit == "mm" else "")
    return OrderRow(
        plan.group.says, size, f"{plan.order} board feet", f"{decimal(plan.on_hand, 1)} board feet", buy,
        _money(plan.price), _money(plan.cost), why,
    )  # fmt: skip


def _sizes_bought(plan: BoardPlan, shown: Shown) -> str:
    """The boards that the layout buys, in words."""
    sizes = ", ".join(f"{one.count} of {_size(shown, one.length, one.width)}" for one in plan.layout.bought)
    return f". Boards to look for: {sizes}" if sizes else ""


def total_cost(order: Order) -> str:
    """What everything to buy costs, as far as prices are known, in words."""
    sheets = [one for plan in order.sheets for one in plan.bought]
    costs = [None if one.price is None else one.price * one.count for one in sheets if one.count]
    costs += [plan.cost for plan in order.boards if plan.buy]
    known = [cost for cost in costs if cost is not None]
    missing = costs.count(None)
    if not known:
        return "No price is known; write prices in stock.csv to see the cost."
    text = f"Together {_money(sum(known, Fraction(0)))}"
    return text + (f", and {missing} more {'line' if missing == 1 else 'lines'} without a price." if missing else ".")


def spare_rows(order: Order) -> tuple[SpareRow, ...]:
    """Spares and the reason for each number."""
    return tuple(SpareRow(one.group.says, str(one.count), one.why) for one in order.demand.spares)


def _tables(order: Order) -> Iterator[tuple[str, Sequence[str], Sequence[Sequence[str]]]]:
    text = order.course.wording.text
    rows = [tuple(text(getattr(row, name)) for name in OrderRow.__slots__) for row in order_rows(order)]
    yield "Order", HEADINGS, rows
    spares = [(text(row.stock), row.count, text(row.why)) for row in spare_rows(order)]
    yield "Spares", ("Stock", "Spares", "Why"), spares
    saving = [(text(one.stock), one.saves, text(one.says)) for one in order.alternatives]
    yield "Alternatives", ("Stock", "Saves", "If"), saving
    names = {student.id: student.name for student in order.course.students}
    given = [(names[one.student], one.role, one.piece) for one in order.assigned]
    yield "Sheets given out", ("Student", "Stock", "Sheet"), given
    look = [(_place(problem.place), text(problem.says), text(problem.do)) for problem in order.problems]
    yield "To look at", ("Where", "What", "What to do"), look


def _place(place: Place) -> str:
    return str(place)


def order_workbook(order: Order) -> bytes:
    """Order list, spares, sheets given out and what to look at, as a workbook; prices, costs and counts are numbers."""
    import datetime

    import xlsxwriter

    memory = io.BytesIO()
    book = xlsxwriter.Workbook(memory, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Order list", "created": datetime.datetime(2000, 1, 1)})
    bold = book.add_format({"bold": True})
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    cell = book.add_format({"text_wrap": True, "valign": "top"})
    look = {"valign": "top", "align": "right", "indent": 1}
    number = {shown: book.add_format({**look, "num_format": shown}) for shown in NUMBERS.values()}
    for name, headings, rows in _tables(order):
        sheet = book.add_worksheet(name)
        sheet.write_string(0, 0, f"{name}: {order.course.title}", bold)
        sheet.write_string(1, 0, f"{order.course.id}, {order.course.date}")
        lines = [1] * len(rows)
        for column, heading in enumerate(headings):
            sheet.write_string(3, column, heading, head)
            texts = [plain(row[column]) for row in rows]
            longest = max([len(heading), *(len(words) for words in texts)])
            wide = min(longest + 2, WIDTHS.get(heading, WIDEST))
            sheet.set_column(column, column, wide)
            for line, words in enumerate(texts):
                lines[line] = max(lines[line], len(textwrap.wrap(words, wide - 2)))
                if heading in NUMBERS and words:
                    sheet.write_number(4 + line, column, float(words), number[NUMBERS[heading]])
                else:
                    sheet.write_string(4 + line, column, words, cell)
        for line, count in enumerate(lines):
            sheet.set_row(4 + line, LINE * count)
        if not rows:
            sheet.write_string(4, 0, NOTHING.get(name, ""))
        if name == "Order":
            sheet.write_string(5 + len(rows), 0, total_cost(order), bold)
        sheet.freeze_panes(4, 1)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(3)
    book.close()
    return memory.getvalue()


def left_csv(order: Order) -> str:
    """What is left over, to be used as `stock.csv` of the next term; sizes with their unit."""
    left, shown = left_over(order), order.shown
    readings = max([len(one.thickness) for one in left], default=1)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    numbered = [f"thickness {number}" for number in range(1, readings + 1)]
    writer.writerow([
        "id", "role", "material", "form", *numbered, "length", "width", "moisture", "defects", "price", "note",
    ])  # fmt: skip
    for one in left:
        thickness = [_exact(value, shown) for value in one.thickness] + [""] * (readings - len(one.thickness))
        moisture = decimal(one.moisture, 2) if one.moisture is not None else ""
        writer.writerow([
            one.id, one.role, one.material, one.form, *thickness, _exact(one.length, shown),
            _exact(one.width, shown), moisture,
            "; ".join(_defect(flaw, shown) for flaw in one.defects), "", one.note,
        ])  # fmt: skip
    return text.getvalue()


def _defect(flaw: Area, shown: Shown) -> str:
    x, y, length, width = (_exact(size, shown) for size in (flaw.x, flaw.y, flaw.length, flaw.width))
    return f"at {x} x {y}: {length} x {width}"


def pins_yaml(order: Order) -> str:
    """The layouts of this order in the form of `cutting.yaml`, to be copied there for sheets that shall stay so."""
    lines = [
        "# Copy the lines of a sheet into cutting.yaml of the course folder to keep its layout when stock is planned",
        "# again. Only sheets of stock.csv can be kept: enter what was bought first.", "pinned:",
    ]  # fmt: skip
    for sheet in order.cut_sheets:
        lines.append(f"  {_quoted(sheet.name)}:")
        for part in sheet.parts:
            turned = " turned" if part.turned else ""
            x, y = _exact(part.area.x, order.shown), _exact(part.area.y, order.shown)
            place = f"{part.need.name} at {x} x {y}{turned}"
            lines.append(f"    - {_quoted(place)}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _exact(value: Fraction | None, shown: Shown) -> str:
    """A length that is read back as it was, in the unit of the course where that is exact."""
    if value is None:
        return ""
    inches, millimetres = value / INCH, decimal(value, 6)
    if shown.unit == "in" and (inches * shown.parts).denominator == 1 and shown.parts:
        return f"{fraction(inches, shown.parts)} in".replace("\u00a0", " ")
    if shown.unit == "in" and Fraction(decimal(inches, 6)) == inches:
        return f"{decimal(inches, 6)} in"
    if Fraction(millimetres) == value:
        return f"{millimetres} mm"
    return f"{inches.numerator}/{inches.denominator} in"
