"""The form of `course.yaml`: which lines are single words, lists or blocks, so that no line is passed over."""

from __future__ import annotations

import re
from collections.abc import Iterator

from shared.places import Items, Mapping, Text
from shared.problems import Problem, meant

TEXTS = (
    *("title", "id", "term", "instructor", "paper", "units", "date", "ends", "invented", "terms"),
    *("last_term", "second_reader"),
)
LISTS = ("sessions",)
BLOCKS = ("shop", "signoff", "safety", "bands", "grading", "plan")
SETTINGS = (*TEXTS, *LISTS, *BLOCKS)
"""What `course.yaml` may say."""
SHOP_LISTS = ("machines", "forbidden", "hand_only", "endorsements", "prepared")
SHOP = (*SHOP_LISTS, "stations", "session", "instruments", "setup_step")
"""What its `shop` may say."""
WHOLE = {"pass_mark": "the least score of a test, as in `pass_mark: 80`",
         "valid_days": "how many days a permission lasts, as in `valid_days: 365`, or 0 for no end"}  # fmt: skip
"""What its `signoff` may say: whole numbers."""


def form_problems(top: Mapping) -> Iterator[Problem]:
    """Everything in `course.yaml` that would be passed over, since it is not of the form that is looked for."""
    yield from _unknown(top, SETTINGS, "a course")
    for key in LISTS:
        yield from _list(top, key, key)
    shop, rules = _block(top, "shop"), _block(top, "signoff")
    yield from _unknown(shop, SHOP, "the shop of a course")
    for key in SHOP_LISTS:
        yield from _list(shop, key, f"shop.{key}")
    yield from _unknown(rules, tuple(WHOLE), "signoff")
    yield from _whole(rules)
    for key in ("shop", "signoff", "safety", "grading"):  # bands and plan have words of their own
        node = top.get(key)
        if isinstance(node, Text) and not node.empty or isinstance(node, Items):
            do = 'Write `safety: {local: "..."}`.' if key == "safety" else "Indent them below it."
            yield Problem("P005", node.place, f"'{key}' must be `name: value` lines", do)
    for key in TEXTS:
        node = top.get(key)
        if isinstance(node, Items | Mapping):
            yield not_single(node, key)
    single = {key: node for key, node in shop.items() if key not in SHOP_LISTS}
    yield from lists_among(Mapping(single, shop.keys, shop.place), "shop.")
    for key in ("safety", "grading"):
        yield from lists_among(_block(top, key), f"{key}.")


def lists_among(block: Mapping, prefix: str = "") -> Iterator[Problem]:
    """Lists among lines that each take one value."""
    for key, node in block.items():
        if isinstance(node, Items):
            yield not_single(node, f"{prefix}{key}")
        elif isinstance(node, Mapping):
            yield from lists_among(node, f"{prefix}{key}.")


def not_single(node: Items | Mapping, name: str) -> Problem:
    """A list or a block where one value is expected."""
    what = "a list" if isinstance(node, Items) else "`name: value` lines"
    do = f"Write `{name.rsplit('.', 1)[-1]}:` and the value behind it."
    return Problem("P032", node.place, f"'{name}' is {what}, and one value is expected", do)


def _block(top: Mapping, key: str) -> Mapping:
    node = top.get(key)
    return node if isinstance(node, Mapping) else Mapping({}, {}, top.place)


def _unknown(node: Mapping, known: tuple[str, ...], what: str) -> Iterator[Problem]:
    for key, place in node.keys.items():
        if key not in known:
            do = meant(key, known)
            if known is SHOP and do.startswith("Known"):
                do = f"Sizes of the shop, as the kerf, stand under `shop:` in plan.yaml. {do}"
            yield Problem("P002", place, f"{what} has no '{key}'", do)


def _list(top: Mapping, key: str, name: str) -> Iterator[Problem]:
    node = top.get(key)
    words = isinstance(node, Items) and all(isinstance(item, Text) for item in node)
    if node is not None and not words and not (isinstance(node, Text) and node.empty):
        yield Problem("P025", node.place, f"{name} is not a list", f"Write `{key}: [one, two]`.")


def _whole(rules: Mapping) -> Iterator[Problem]:
    for key, says in WHOLE.items():
        node = rules.get(key)
        text = node.text.strip() if isinstance(node, Text) else ""
        if node is not None and not re.fullmatch("[0-9]{1,5}", text):
            yield Problem("P033", node.place, f"signoff.{key} is no whole number", f"Write {says}.")
