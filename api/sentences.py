"""What the domain can say to a person, for whoever translates it: templates, each with its place.

Pages and their forms call gettext, which its own tools find. The ledger and the formulas do not:
their sentences are found here, in the text of the program, by where they stand. They are the
docstrings of refusals, what a refusal is given instead, templates of a `Sentence`, and cautions.
"""

import ast
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parent.parent
PACKAGES: Final = ("ledger", "formulas", "api")
SENTENCE, REFUSAL = "Sentence", "Refusal"
# From which argument on these hold sentences: cautions, and a cell that cannot be taken.
FROM: Final = {"Caution": 1, "_Rule": 3, "Cell": 1}
# The members of these stand in places of refusals, and pages translate them there.
NAMED: Final = {"Verb", "State", "Status", "Role", "SpreadBy", "Measure"}
# What stands in these is found elsewhere: by gettext's own tools, or as a Sentence here.
ELSEWHERE: Final = {"said", "gettext", SENTENCE}


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence and where it stands; `text` is None where it cannot be told beforehand."""

    path: str
    line: int
    text: str | None
    written: str


def program() -> dict[str, ast.Module]:
    """The modules of the program, by their paths."""
    paths = sorted(path for name in PACKAGES for path in (ROOT / name).rglob("*.py"))
    return {
        str(path.relative_to(ROOT)): ast.parse(path.read_text())
        for path in paths
        if "migrations" not in path.parts
    }


def sentences(modules: dict[str, ast.Module]) -> Iterator[Said]:
    """Everything that is said, as often as it stands there."""
    refusals = _refusals(modules.values())
    for path, tree in modules.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and node.name in refusals:
                text = " ".join((ast.get_docstring(node) or "").split())
                yield Said(path, node.lineno, text, node.name)
            elif isinstance(node, ast.ClassDef) and node.name in NAMED:
                for member in _members(node):
                    yield Said(path, member.lineno, str(member.value), node.name)
            elif isinstance(node, ast.Call):
                for said in _given(node, refusals):
                    for told in _texts(said, tree):
                        yield Said(path, said.lineno, told, ast.unparse(said))


def _members(names: ast.ClassDef) -> Iterator[ast.Constant]:
    """What the members of a class of names are called."""
    for node in names.body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant):
            yield node.value


def _refusals(modules: Iterable[ast.Module]) -> set[str]:
    """The names of Refusal and of all classes below it."""
    classes = [one for tree in modules for one in ast.walk(tree) if isinstance(one, ast.ClassDef)]
    known, before = {REFUSAL}, 0
    while len(known) > before:
        before = len(known)
        known |= {one.name for one in classes if known & {_name(base) for base in one.bases}}
    return known


def _name(expression: ast.expr) -> str:
    if isinstance(expression, ast.Name):
        return expression.id
    if isinstance(expression, ast.Attribute):
        return expression.attr
    return ast.unparse(expression).rpartition(".")[2]


def _given(call: ast.Call, refusals: set[str]) -> list[ast.expr]:
    """The arguments of a call that are sentences."""
    name = _name(call.func)
    if name in refusals or name == SENTENCE:
        return call.args[:1]
    return call.args[FROM[name] :] if name in FROM else []


def _texts(said: ast.expr, tree: ast.Module) -> Iterator[str | None]:
    """The texts that an argument can be; None where that cannot be read."""
    if isinstance(said, ast.Constant):
        yield str(said.value)
    elif isinstance(said, ast.IfExp):
        yield from _texts(said.body, tree)
        yield from _texts(said.orelse, tree)
    elif isinstance(said, ast.BinOp) and isinstance(said.op, ast.Mod):
        yield from _texts(said.left, tree)
    elif isinstance(said, ast.Call) and _name(said.func) in ELSEWHERE:
        return
    else:
        name = said.value if isinstance(said, ast.Subscript) else said
        found = list(_bound(name.id, tree, {name.id})) if isinstance(name, ast.Name) else []
        yield from found
        if not found:
            yield None


def _bound(name: str, tree: ast.Module, seen: set[str]) -> Iterator[str]:
    """The sentences that a name of a module can stand for, by what it is bound to."""
    for value in _values(name, tree):
        for one in ast.walk(value):
            if isinstance(one, ast.Constant) and isinstance(one.value, str) and " " in one.value:
                yield one.value
            elif isinstance(one, ast.Name) and one.id not in seen:
                seen.add(one.id)
                yield from _bound(one.id, tree, seen)


def _values(name: str, tree: ast.Module) -> Iterator[ast.expr]:
    """What is given to a name, or gone through by it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign):
            targets, value = node.targets, node.value
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            targets, value = [node.target], node.value
        elif isinstance(node, ast.For | ast.comprehension):
            targets, value = [node.target], node.iter
        else:
            continue
        if name in {_name(one) for target in targets for one in _each(target)}:
            yield value


def _each(target: ast.expr) -> list[ast.expr]:
    return list(target.elts) if isinstance(target, ast.Tuple) else [target]


def template(found: Iterable[Said]) -> str:
    """A gettext template (POT) of these sentences, each once, with the places where it stands."""
    places: dict[str, list[str]] = {}
    for one in found:
        if one.text:
            places.setdefault(one.text, []).append(f"{one.path}:{one.line}")
    head = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=UTF-8\\n"\n'
    entries = [
        f'#: {" ".join(dict.fromkeys(where))}\nmsgid {_quoted(text)}\nmsgstr ""\n'
        for text, where in sorted(places.items())
    ]
    return "\n".join([head, *entries])


def _quoted(text: str) -> str:
    for sign, written in (("\\", "\\\\"), ('"', '\\"'), ("\n", "\\n")):
        text = text.replace(sign, written)
    return f'"{text}"'
