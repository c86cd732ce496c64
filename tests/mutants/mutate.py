"""Mutants of a module: one changed comparison, sign, constant, branch or statement each."""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass

_COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
_SUMS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Mod: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
_PAIRS = (
    ("min", "max"),
    ("minimum", "maximum"),
    ("fmin", "fmax"),
    ("nanmin", "nanmax"),
    ("argmin", "argmax"),
    ("any", "all"),
    ("logical_and", "logical_or"),
)
_NAMES = {**dict(_PAIRS), **{second: first for first, second in _PAIRS}}
_LOSES = (ast.Expr, ast.AugAssign, ast.Continue, ast.Break)


@dataclass(frozen=True)
class Mutant:
    """One change: in which function (empty for the module itself), what it was and what it is."""

    where: str
    change: str
    tree: ast.Module
    statement: int
    """Number of the statement of the module that holds the change."""

    @property
    def name(self) -> str:
        """What it is called in the list of survivors."""
        return f"{self.where or 'module'}: {self.change}"


def mutants(source: str, only: tuple[str, ...] = ()) -> Iterator[Mutant]:
    """All mutants of a module, in order of its text; `only` these functions, classes and constants."""
    tree = ast.parse(source)
    seen: dict[str, int] = {}
    for number, statement in enumerate(tree.body):
        name = _name_of(statement)
        if name is None or (only and name not in only):
            continue
        for where, path in _places(statement, (), ""):
            node = _at(statement, path)
            for new in _changed(node):
                made = copy.deepcopy(tree)
                _put(made.body[number], path, copy.deepcopy(new))
                change = f"`{_text(node)}` -> `{_text(new)}`"
                count = seen[where + change] = seen.get(where + change, 0) + 1
                if count > 1:
                    change += f" ({count})"
                yield Mutant(where, change, ast.fix_missing_locations(made), number)


def _name_of(statement: ast.stmt) -> str | None:
    """Name of what a statement of the module makes; None for what is not mutated."""
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        return statement.name
    if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
        return statement.targets[0].id
    return None


Path = tuple[tuple[str, int | None], ...]


def _places(node: ast.AST, path: Path, where: str) -> Iterator[tuple[str, Path]]:
    """Every node that may be changed, with the function that holds it. Annotations and docstrings are left."""
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        where = f"{where}.{node.name}" if where else node.name
    if isinstance(node, ast.keyword) and node.arg == "strict":
        # Whether a zip would complain says nothing of what it gives.
        return
    yield where, path
    for field, value in ast.iter_fields(node):
        if field in ("annotation", "returns", "decorator_list", "bases"):
            continue
        if isinstance(node, ast.ClassDef) and field == "body":
            for index, part in enumerate(value):
                if isinstance(part, ast.FunctionDef):
                    yield from _places(part, (*path, (field, index)), where)
        elif isinstance(value, list):
            for index, part in enumerate(value):
                if isinstance(part, ast.AST):
                    yield from _places(part, (*path, (field, index)), where)
        elif isinstance(value, ast.AST):
            yield from _places(value, (*path, (field, None)), where)


def _at(node: ast.AST, path: Path) -> ast.AST:
    for field, index in path:
        value = getattr(node, field)
        node = value if index is None else value[index]
    return node


def _put(root: ast.AST, path: Path, new: ast.AST) -> None:
    holder = _at(root, path[:-1])
    field, index = path[-1]
    if index is None:
        setattr(holder, field, new)
    else:
        getattr(holder, field)[index] = new


def _changed(node: ast.AST) -> Iterator[ast.AST]:
    match node:
        case ast.Compare():
            for number, op in enumerate(node.ops):
                for other in _COMPARISONS.get(type(op), ()):
                    yield _with(node, ops=[*node.ops[:number], other(), *node.ops[number + 1 :]])
        case ast.BinOp():
            if type(node.op) in _SUMS:
                yield _with(node, op=_SUMS[type(node.op)]())
        case ast.BoolOp():
            yield _with(node, op=ast.Or() if isinstance(node.op, ast.And) else ast.And())
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert()):
            yield node.operand
        case ast.Constant(value=bool()):
            yield ast.Constant(not node.value)
        case ast.Constant(value=int()):
            yield ast.Constant(node.value + 1)
            yield ast.Constant(node.value - 1)
        case ast.Constant(value=float()):
            yield ast.Constant(node.value * 2.0 if node.value else 1.0)
            yield ast.Constant(node.value / 2.0 if node.value else -1.0)
        case ast.Name(id=name) if name in _NAMES and isinstance(node.ctx, ast.Load):
            yield _with(node, id=_NAMES[name])
        case ast.Attribute(attr=name) if name in _NAMES and isinstance(node.ctx, ast.Load):
            yield _with(node, attr=_NAMES[name])
        case ast.Return() if node.value is not None and not _is_none(node.value):
            yield _with(node, value=ast.Constant(None))
        case ast.If():
            yield _with(node, test=ast.Constant(False))
            if not isinstance(node.test, ast.Constant):
                yield _with(node, test=ast.Constant(True))
        case ast.IfExp():
            yield node.body
            yield node.orelse
        case ast.comprehension() if node.ifs:
            for number in range(len(node.ifs)):
                yield _with(node, ifs=[*node.ifs[:number], *node.ifs[number + 1 :]])
    if isinstance(node, _LOSES) and not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
        yield ast.Pass()
    if isinstance(node, ast.Assign) and not isinstance(node.targets[0], ast.Name | ast.Tuple):
        yield ast.Pass()


def _is_none(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _with(node: ast.AST, **changes: object) -> ast.AST:
    new = copy.copy(node)
    for name, value in changes.items():
        setattr(new, name, value)
    return new


def _text(node: ast.AST) -> str:
    text = f"for ... {ast.unparse(node)}" if isinstance(node, ast.comprehension) else ast.unparse(node)
    line = " ".join(text.split())
    return line if len(line) <= 110 else line[:107] + "..."
