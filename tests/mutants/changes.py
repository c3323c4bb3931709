"""Every small change that could be made to a module: a comparison, an operator, a number or what is returned."""

import ast
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
}
SETS: dict[type[ast.operator], type[ast.operator]] = {ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr}
"""Changed inside functions alone: elsewhere they join types."""

WITHOUT_EFFECT = frozenset({"strict", "maxsize", "stacklevel"})
"""Keywords whose values change nothing that a caller sees."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change: the ``lines`` that running it passes through, ``said`` in words, the ``names`` that the module gives
    to what it makes when it is imported, none inside a function, and ``make``, which changes the tree it was found in.
    """

    lines: frozenset[int]
    said: str
    names: frozenset[str]
    make: Callable[[], None]


def changes(tree: ast.Module) -> list[Change]:
    """All changes of a module, in the order of its text."""
    return list(_of_statements(tree.body, frozenset(), False))


def changed(source: str, number: int) -> ast.Module:
    """A module with the change of that ``number`` made. Raises IndexError when it has no such change."""
    tree = ast.parse(source)
    changes(tree)[number].make()
    return ast.fix_missing_locations(tree)


def _of_statements(body: Sequence[ast.stmt], names: frozenset[str], inside: bool) -> Iterator[Change]:
    for statement in body:
        yield from _of_statement(statement, names or defined(statement), inside)


def _of_statement(statement: ast.stmt, names: frozenset[str], inside: bool) -> Iterator[Change]:
    """``names`` are those of the outermost statement; ``inside`` a function they do not matter."""
    match statement:
        case ast.FunctionDef() | ast.AsyncFunctionDef():
            for default in [*statement.args.defaults, *filter(None, statement.args.kw_defaults)]:
                yield from _of_expression(default, statement.lineno, names, inside)
            yield from _of_statements(statement.body, names, True)
            return
        case ast.ClassDef():
            yield from _of_statements(statement.body, names, inside)
            return
        case ast.If(test=ast.Name(id="TYPE_CHECKING")):
            return
        case ast.Return(value=ast.expr() as value) if not isinstance(value, ast.Constant):
            yield _change(statement, statement.lineno, "return None", names, inside, _setting(statement, "value", None))
        case ast.AugAssign() if type(statement.op) in OPERATORS:
            new = OPERATORS[type(statement.op)]
            said = f"{_named(statement.op)}= to {_named(new())}="
            yield _change(statement, statement.lineno, said, names, inside, _setting(statement, "op", new()))
    annotation = getattr(statement, "annotation", None)
    for child in ast.iter_child_nodes(statement):
        if isinstance(child, ast.stmt):
            yield from _of_statement(child, names, inside)
        elif isinstance(child, ast.ExceptHandler | ast.match_case):
            yield from _of_statements(child.body, names, inside)
            if isinstance(child, ast.match_case) and child.guard:
                yield from _of_expression(child.guard, child.guard.lineno, names, inside)
        elif child is not annotation:
            yield from _of_expression(child, statement.lineno, names, inside)


def _of_expression(root: ast.AST, line: int, names: frozenset[str], inside: bool) -> Iterator[Change]:
    if isinstance(root, ast.keyword) and root.arg in WITHOUT_EFFECT:
        return
    for said, make in _of_node(root, inside):
        yield _change(root, line, said, names, inside, make)
    for child in ast.iter_child_nodes(root):
        yield from _of_expression(child, line, names, inside)


def _of_node(node: ast.AST, inside: bool) -> Iterator[tuple[str, Callable[[], None]]]:
    match node:
        case ast.Compare():
            for at, op in enumerate(node.ops):
                new = COMPARISONS[type(op)]()
                yield f"{_named(op)} to {_named(new)}", partial(node.ops.__setitem__, at, new)
        case ast.BoolOp():
            other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield f"{_named(node.op)} to {_named(other)}", _setting(node, "op", other)
        case ast.BinOp() if new_op := ({**OPERATORS, **SETS} if inside else OPERATORS).get(type(node.op)):
            yield f"{_named(node.op)} to {_named(new_op())}", _setting(node, "op", new_op())
        case ast.UnaryOp(op=ast.Not()):
            yield "not left out", _setting(node, "operand", ast.UnaryOp(ast.Not(), node.operand))
        case ast.UnaryOp(op=ast.USub()):
            yield "minus left out", _setting(node, "op", ast.UAdd())
        case ast.Constant(value=bool() as flag):
            yield f"{flag} to {not flag}", _setting(node, "value", not flag)
        case ast.Constant(value=int() as number):
            yield f"{number} to {number + 1}", _setting(node, "value", number + 1)
        case ast.Constant(value=float() as figure):
            twice = 2 * figure or 1.0
            yield f"{figure} to {twice}", _setting(node, "value", twice)


def _change(
    node: ast.AST, line: int, said: str, names: frozenset[str], inside: bool, make: Callable[[], None]
) -> Change:
    own = getattr(node, "lineno", line)
    return Change(frozenset({line, own}), f"{own}: {said}", frozenset() if inside else names, make)


def _setting(node: ast.AST, field: str, value: object) -> Callable[[], None]:
    return lambda: setattr(node, field, value)


def _named(operator: ast.AST) -> str:
    """An operator as it is written."""
    name = ast.Name("a", ast.Load())
    match operator:
        case ast.cmpop():
            whole: ast.expr = ast.Compare(name, [operator], [name])
        case ast.boolop():
            whole = ast.BoolOp(operator, [name, name])
        case ast.operator():
            whole = ast.BinOp(name, operator, name)
        case _:
            raise TypeError(f"no operator: {operator}")
    return ast.unparse(whole)[1:-1].strip()


def defined(statement: ast.stmt) -> frozenset[str]:
    """The names that a statement of a module gives."""
    match statement:
        case ast.FunctionDef() | ast.AsyncFunctionDef() | ast.ClassDef():
            return frozenset({statement.name})
        case ast.Assign() | ast.AnnAssign() | ast.For() | ast.If() | ast.With() | ast.Try():
            stored = (one for one in ast.walk(statement) if isinstance(one, ast.Name))
            return frozenset(one.id for one in stored if isinstance(one.ctx, ast.Store))
    return frozenset()
