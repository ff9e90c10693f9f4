"""Eight samples in one variable: types of numba for vectors of the processor, and for the memory they lie in.

``Lanes`` hold one float of each of ``LANES`` samples; sums, products and the rest act on all of them at once.
Memory is seen through three kinds of pointers: ``slots`` of lanes, ``numbers`` (floats) and ``counts``
(integers), the last two never written to. A pointer goes from function to function as one word, where an
array would take many, and is compiled as quickly. Places are not checked. Only compiled functions can use any
of this.
"""

from __future__ import annotations

import operator

from llvmlite import ir
from numba import types
from numba.extending import intrinsic, lower_builtin, models, register_model, type_callable

from optimizer.shelflife.transient.kernel_data import LANES

_DOUBLE, _INTEGER, _PLACE = ir.DoubleType(), ir.IntType(64), ir.IntType(32)
_VECTOR = ir.VectorType(_DOUBLE, LANES)
#: Multiplications may be fused with additions, as a compiler does for numpy.
_FLAGS = ("contract", "nsz", "arcp", "reassoc")


class _LanesType(types.Type):
    def __init__(self):
        super().__init__(name=f"Lanes({LANES})")


class _PointerType(types.Type):
    def __init__(self, name, item, memory):
        super().__init__(name=name)
        self.item, self.memory = item, memory


Lanes = _LanesType()
_Slots = _PointerType("Slots", Lanes, _VECTOR)
_Numbers = _PointerType("Numbers", types.float64, _DOUBLE)
_Counts = _PointerType("Counts", types.int64, _INTEGER)


@register_model(_LanesType)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager, kind):
        super().__init__(manager, kind, _VECTOR)


@register_model(_PointerType)
class _PointerModel(models.PrimitiveModel):
    def __init__(self, manager, kind):
        super().__init__(manager, kind, kind.memory.as_pointer())


def _maker(kind, item):
    @intrinsic
    def make(typing, array):
        """Pointer to the start of a contiguous array, which must outlive it."""

        def build(context, builder, signature, arguments):
            made = context.make_array(signature.args[0])(context, builder, arguments[0])
            return builder.bitcast(made.data, kind.memory.as_pointer())

        if not isinstance(array, types.Array) or array.dtype != item or array.layout != "C":
            return None
        return kind(array), build

    return make


slots = _maker(_Slots, types.float64)
numbers = _maker(_Numbers, types.float64)
counts = _maker(_Counts, types.int64)


@type_callable(operator.getitem)
def _typed_getitem(_):
    def typer(pointer, place):
        return (
            pointer.item if isinstance(pointer, _PointerType) and isinstance(place, types.Integer) else None
        )

    return typer


@lower_builtin(operator.getitem, _PointerType, types.Integer)
def _lowered_getitem(context, builder, signature, arguments):
    place = context.cast(builder, arguments[1], signature.args[1], types.intp)
    loaded = builder.load(builder.gep(arguments[0], [place]), align=8)
    if signature.args[0] is not _Slots:
        loaded.set_metadata("invariant.load", builder.module.add_metadata([]))
    return loaded


@type_callable(operator.setitem)
def _typed_setitem(_):
    def typer(pointer, place, value):
        return (
            types.none if pointer is _Slots and isinstance(place, types.Integer) and _number(value) else None
        )

    return typer


@lower_builtin(operator.setitem, _PointerType, types.Integer, types.Any)
def _lowered_setitem(context, builder, signature, arguments):
    place = context.cast(builder, arguments[1], signature.args[1], types.intp)
    value = _vector(context, builder, arguments[2], signature.args[2])
    builder.store(value, builder.gep(arguments[0], [place]), align=8)
    return context.get_dummy_value()


def _broadcast(builder, value):
    one = builder.insert_element(ir.Constant(_VECTOR, ir.Undefined), value, _PLACE(0))
    same = ir.Constant(ir.VectorType(_PLACE, LANES), [0] * LANES)
    return builder.shuffle_vector(one, ir.Constant(_VECTOR, ir.Undefined), same)


def _vector(context, builder, value, kind):
    """Any number as a vector."""
    if kind is Lanes:
        return value
    return _broadcast(builder, context.cast(builder, value, kind, types.float64))


def _number(kind):
    return kind is Lanes or isinstance(kind, types.Float | types.Integer)


def _arithmetic(function, method):
    """Let ``function`` take two lanes, or lanes and a number."""

    @type_callable(function)
    def typed(_):
        def typer(a, b):
            return Lanes if (a is Lanes or b is Lanes) and _number(a) and _number(b) else None

        return typer

    def lowered(context, builder, signature, arguments):
        a, b = (_vector(context, builder, v, k) for v, k in zip(arguments, signature.args, strict=True))
        return getattr(builder, method)(a, b, flags=_FLAGS)

    for other in (types.Float, types.Integer):
        lower_builtin(function, Lanes, other)(lowered)
        lower_builtin(function, other, Lanes)(lowered)
    lower_builtin(function, Lanes, Lanes)(lowered)


for _function, _method in (
    (operator.add, "fadd"),
    (operator.iadd, "fadd"),
    (operator.sub, "fsub"),
    (operator.isub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _arithmetic(_function, _method)


@type_callable(operator.neg)
def _typed_neg(_):
    return lambda a: Lanes if a is Lanes else None


@lower_builtin(operator.neg, Lanes)
def _lowered_neg(context, builder, signature, arguments):
    return builder.fneg(arguments[0])


@intrinsic
def lanes(typing, value):
    """One number for all samples."""

    def build(context, builder, signature, arguments):
        return _vector(context, builder, arguments[0], signature.args[0])

    return (Lanes(value), build) if _number(value) else None


def _where(predicate):
    @intrinsic
    def where(typing, a, b, then, otherwise):
        def build(context, builder, signature, arguments):
            x, y, t, o = (
                _vector(context, builder, v, k) for v, k in zip(arguments, signature.args, strict=True)
            )
            return builder.select(builder.fcmp_ordered(predicate, x, y), t, o)

        return Lanes(a, b, then, otherwise), build

    return where


#: then where a >= b (a > b), else otherwise
where_ge, where_gt = _where(">="), _where(">")


def _called(builder, name, arguments, result=_VECTOR):
    kind = ir.FunctionType(result, [a.type for a in arguments])
    return builder.call(builder.module.declare_intrinsic(name, fnty=kind), arguments)


def _unary(name):
    @intrinsic
    def called(typing, value):
        def build(context, builder, signature, arguments):
            return _called(builder, f"llvm.{name}.v{LANES}f64", arguments)

        return (Lanes(value), build) if value is Lanes else None

    return called


#: square root, absolute value, largest whole number not above
root, size, whole = _unary("sqrt"), _unary("fabs"), _unary("floor")


@intrinsic
def top(typing, value):
    """Greatest of the samples' values, a float; infinite where any is not a number."""

    def build(context, builder, signature, arguments):
        (value,) = arguments
        endless = ir.Constant(_VECTOR, [float("inf")] * LANES)
        safe = builder.select(builder.fcmp_unordered("uno", value, value), endless, value)
        return _called(builder, f"llvm.vector.reduce.fmax.v{LANES}f64", [safe], _DOUBLE)

    return (types.float64(value), build) if value is Lanes else None


@intrinsic
def gather(typing, table, first, place):
    """table[first + place], place being lanes of whole numbers."""

    def build(context, builder, signature, arguments):
        start = context.cast(builder, arguments[1], signature.args[1], types.intp)
        pointer = builder.gep(arguments[0], [start])
        places = builder.fptosi(arguments[2], ir.VectorType(_INTEGER, LANES))
        found = ir.Constant(_VECTOR, ir.Undefined)
        for k in range(LANES):
            at = builder.gep(pointer, [builder.extract_element(places, _PLACE(k))])
            found = builder.insert_element(found, builder.load(at, align=8), _PLACE(k))
        return found

    return (Lanes(table, first, place), build) if table is _Numbers and place is Lanes else None


@intrinsic
def put_lane(typing, pointer, place, k, value):
    """One sample's float into a slot."""

    def build(context, builder, signature, arguments):
        flat = builder.bitcast(arguments[0], _DOUBLE.as_pointer())
        at = builder.add(builder.mul(arguments[1], _INTEGER(LANES)), arguments[2])
        builder.store(arguments[3], builder.gep(flat, [at]), align=8)
        return context.get_dummy_value()

    ok = pointer is _Slots
    return (types.void(pointer, types.int64, types.int64, types.float64), build) if ok else None


@intrinsic
def get_lane(typing, pointer, place, k):
    """One sample's float from a slot."""

    def build(context, builder, signature, arguments):
        flat = builder.bitcast(arguments[0], _DOUBLE.as_pointer())
        at = builder.add(builder.mul(arguments[1], _INTEGER(LANES)), arguments[2])
        return builder.load(builder.gep(flat, [at]), align=8)

    return (types.float64(pointer, types.int64, types.int64), build) if pointer is _Slots else None
