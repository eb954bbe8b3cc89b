"""For notebooks: arrays in, labelled arrays out. Each angle along a dimension of its own, or all along one.

What comes back is a `Dataset` or `DataArray` of xarray, which this package uses where it is there and nowhere else.
Units and flags stand in the attributes as the CF Conventions have them (`units`, `long_name`, `flag_values`).
"""

from collections.abc import Mapping, Sequence
from importlib import import_module
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .assembly import Assembly
from .chain import POINT_OUTPUTS
from .columns import STATUS, Columns, Executor, differentiate_columns, solve_columns
from .errors import Fault, Refused, refuse
from .fleet import Fleet, fleet, varied
from .parameters import NAMES, TURNS

if TYPE_CHECKING:
    import xarray as xr

Labelled: TypeAlias = "ArrayLike | xr.DataArray"
POSE, MACHINE, BY = "pose", "machine", "by"
_KEPT = frozenset({MACHINE, BY, "by_units", "status"})
"""Dimensions: of plain arrays, of several machines, of what a rate is by."""
ANGLE_UNITS: Mapping[str, float] = {
    "rad": 1.0, "radian": 1.0, "radians": 1.0,
    "deg": np.pi / 180.0, "degree": np.pi / 180.0, "degrees": np.pi / 180.0,
}  # fmt: skip
LENGTH_UNITS: Mapping[str, float] = {"m": 1.0, "metre": 1.0, "mm": 1e-3, "cm": 1e-2}
_IN = {"cross_slope": "1", "floor_angle": "rad", "mast_angle": "rad"}
_LONG = {
    "cross_slope": "right corner over left corner, over their level distance",
    "floor_angle": "inclination of the floor from edge to heel",
    "heel_clearance": "height of the heel over the edge where it is least",
    "mast_angle": "angle between the receiver's mast and plumb",
    "square": "own left corner to the operator's left of the right one",
}
_POINT_LONG = {
    "reach": "{}, level ahead of the swing axis",
    "lateral": "{}, level to the left of the swing axis",
    "height": "{}, over the body origin",
}


def along(name: str, values: ArrayLike, units: str) -> "xr.DataArray":
    """Values of one angle or dimension along a dimension of its own, with their unit: along("boom", [20, 30], "deg").

    Raises `Refused` "no-library", "unknown-unit", "ragged".
    """
    known = {**ANGLE_UNITS, **LENGTH_UNITS}
    if units not in known:
        raise Refused([_unknown(name, units, known)])
    array = np.asarray(values)
    if array.ndim != 1:
        raise Refused([Fault("ragged", name, f"shape {array.shape}", "a list of numbers")])
    made: xr.DataArray = _xarray().DataArray(array, dims=name, coords={name: array}, name=name)
    made.attrs["units"] = units
    made[name].attrs["units"] = units
    return made


def solve_labelled(
    machines: Assembly | Mapping[str, Assembly], angles: Mapping[str, Labelled], outputs: Sequence[str], *,
    cylinders: Mapping[str, Labelled] | None = None, dimensions: Mapping[str, Labelled] | None = None,
    executor: Executor | None = None, parts: int = 1,
) -> "xr.Dataset":  # fmt: skip
    """Outputs of many poses as `solve_columns` gives them, in m and rad, over the dimensions of what was given.

    A plain number holds throughout, a plain array lies along "pose", a labelled array along its own dimensions: boom
    and stick along one each give a table of both. Plain numbers are rad, of `cylinders` and lengths m; a labelled array
    is read in the unit its `units` attribute states. Several machines by name lie along "machine". `dimensions`:
    parameters of one machine that vary. With boom at 0.6, stick at -1.4 and the bucket at 0.9, a further -0.1 of bucket
    curls the edge in.
    `status` says of each pose why it is NaN; its flags are `STATUS`.
    Raises `Refused`: "no-library"; "unknown-unit", "labels-differ" where two arrays label one dimension otherwise,
    "dimension-shared" where a parameter and an angle lie along one; all that `solve_columns` and `varied` refuse.
    """
    plan = _Plan(machines, angles, cylinders or {}, dimensions or {})
    found = solve_columns(
        plan.fleet, plan.angles, outputs, cylinders=plan.cylinders, executor=executor, parts=parts
    )
    made: xr.Dataset = _xarray().Dataset(
        {name: (plan.dims, plan.shaped(found.values[name]), _said(name)) for name in outputs},
        coords=plan.coords,
    )
    return made.assign(status=plan.status(found))


def differentiate_labelled(
    machines: Assembly | Mapping[str, Assembly], angles: Mapping[str, Labelled], output: str,
    with_respect_to: Sequence[str] | None = None, *, cylinders: Mapping[str, Labelled] | None = None,
    dimensions: Mapping[str, Labelled] | None = None, executor: Executor | None = None, parts: int = 1,
) -> "xr.DataArray":  # fmt: skip
    """Derivatives of one output as `differentiate_columns` gives them, along "by" and the dimensions of what was given.

    rates.sel(by="boom") is per rad, by="stick_length" per m, as coordinate `by_units` says. At 8 m reach the centre's
    height by the boom is 8 m/rad: 14 mm for 0.1 deg. Errors as `solve_labelled`, and "no-such-parameter".
    """
    plan = _Plan(machines, angles, cylinders or {}, dimensions or {})
    found = differentiate_columns(
        plan.fleet,
        plan.angles,
        output,
        with_respect_to,
        cylinders=plan.cylinders,
        executor=executor,
        parts=parts,
    )
    names = list(found.values)
    said = _said(output)
    per = ["m" if name in NAMES and name not in TURNS else "rad" for name in names]
    made: xr.DataArray = _xarray().DataArray(
        np.stack([plan.shaped(found.values[name]) for name in names])
        if names
        else np.empty((0, *plan.shape)),
        dims=(BY, *plan.dims),
        coords={**plan.coords, BY: names, "by_units": (BY, [f"{said['units']}/{each}" for each in per])},
        name=f"d_{output}",
        attrs={"long_name": f"change of {said['long_name']}"},
    )
    return made.assign_coords(status=plan.status(found))


def _xarray() -> Any:
    try:
        return import_module("xarray")
    except ImportError:
        raise Refused([
            Fault("no-library", "", "an environment without xarray", "the library xarray",
                  "install it: pip install xarray; or use solve_columns, which needs none")
        ]) from None  # fmt: skip


def _numbers(given: Any) -> NDArray[Any] | None:
    """As a plain array; None for a masked one (what is masked is no number) and for lists that are not alike."""
    if isinstance(given, np.ma.MaskedArray):
        return None
    try:
        return np.asarray(given)
    except (ValueError, TypeError):
        return None


def _unknown(where: str, units: str, known: Mapping[str, float]) -> Fault:
    return Fault(
        "unknown-unit",
        where,
        repr(units)[:60],
        "one of " + ", ".join(known),
        "state the unit the numbers are in",
    )


def _said(output: str) -> dict[str, str]:
    """CF attributes of an output."""
    if output in POINT_OUTPUTS:
        point, _, way = output.rpartition("_")
        return {"units": "m", "long_name": _POINT_LONG[way].format(point.replace("_", " "))}
    return {"units": _IN.get(output, "m"), "long_name": _LONG.get(output, output)}


class _Plan:
    """What was given as flat columns, and how these lie along dimensions."""

    def __init__(
        self, machines: Assembly | Mapping[str, Assembly], angles: Mapping[str, Labelled],
        cylinders: Mapping[str, Labelled], dimensions: Mapping[str, Labelled],
    ) -> None:  # fmt: skip
        self.coords: dict[str, Any] = {}
        self._faults: list[Fault] = []
        lengths = {name for name in dimensions if name in NAMES and name not in TURNS}
        driven = {f"{name}_cylinder": each for name, each in cylinders.items()}
        moved = {name: self._read(name, each, ANGLE_UNITS) for name, each in angles.items()}
        moved |= {name: self._read(name, each, LENGTH_UNITS) for name, each in driven.items()}
        changed = {
            name: self._read(name, each, LENGTH_UNITS if name in lengths else ANGLE_UNITS)
            for name, each in dimensions.items()
        }
        refuse(self._faults)
        poses, pose_dims, pose_shape = self._together(moved)
        sizes, machine_dims, machine_shape = self._together(changed)
        shared = sorted(
            {*pose_dims} & {*machine_dims, *((MACHINE,) if isinstance(machines, Mapping) else ())}
        )
        refuse(
            Fault("dimension-shared", name, f"angles and machines along {name!r}", "a dimension of its own for each",
                  "rename one of the two")
            for name in shared
        )  # fmt: skip
        self.angles: dict[str, ArrayLike] = {name: poses[name] for name in angles}
        self.cylinders: dict[str, ArrayLike] = {name: poses[f"{name}_cylinder"] for name in cylinders}
        self.fleet = self._fleet(machines, sizes)
        if isinstance(machines, Mapping):
            machine_dims, machine_shape = (MACHINE,), (len(machines),)
            self.coords[MACHINE] = (MACHINE, list(machines))
        self.dims = (*machine_dims, *pose_dims)
        self.shape = (*machine_shape, *pose_shape)

    @staticmethod
    def _fleet(machines: Assembly | Mapping[str, Assembly], sizes: Mapping[str, ArrayLike]) -> Fleet:
        if isinstance(machines, Mapping):
            if sizes:
                raise Refused([
                    Fault("one-machine-varied", "dimensions", "several machines", "one machine whose dimensions vary",
                          "vary one after the other")
                ])  # fmt: skip
            return fleet(list(machines.values()))
        return varied(machines, sizes) if sizes else fleet([machines])

    def shaped(self, values: NDArray[Any]) -> NDArray[Any]:
        """Rows, machine after machine, along the dimensions."""
        return values.reshape(self.shape)

    def status(self, found: Columns) -> Any:
        """Why a pose is NaN, with the flags of `STATUS` as the CF Conventions write them."""
        attrs = {
            "long_name": "whether a pose was solved",
            "flag_values": np.array(list(STATUS), dtype=np.uint8),
            "flag_meanings": " ".join(STATUS.values()),
        }
        return self.dims, self.shaped(found.status), attrs

    def _read(self, name: str, given: Any, units: Mapping[str, float]) -> Any:
        """As a labelled array in rad or m; what it was given as becomes a coordinate. NaN where it is none."""
        library = _xarray()
        array = given.values if isinstance(given, library.DataArray) else _numbers(given)
        if array is None or array.dtype.kind not in "fiu":
            found = (
                "a mask, or rows of different lengths" if array is None else f"values of type {array.dtype}"
            )
            self._faults.append(
                Fault("not-a-number", name, found, "one number, a list of numbers, or a labelled array")
            )
            return library.DataArray(np.nan)
        if not isinstance(given, library.DataArray):
            if array.ndim > 1:
                self._faults.append(
                    Fault("ragged", name, f"shape {array.shape}", "a labelled array says what is along what")
                )
                return library.DataArray(np.nan)
            given = library.DataArray(array, dims=(POSE,)[: array.ndim], attrs={"units": next(iter(units))})
        stated = given.attrs.get("units")
        if stated not in units:
            self._faults.append(
                _unknown(name, "no units attribute" if stated is None else repr(stated), units)
            )
            return library.DataArray(np.nan)
        if name not in given.coords:
            self._keep(name, library.Variable(given.dims, array, {"units": stated}))
        for key, each in given.coords.items():
            self._keep(str(key), each.variable)
        return given * units[stated]

    def _keep(self, name: str, values: Any) -> None:
        """A coordinate of the answer; two that differ under one name are neither."""
        if name in _KEPT:
            self._faults.append(
                Fault("dimension-shared", name, f"a label {name!r}", "another name: the answer has its own")
            )
        elif name in self.coords and not self.coords[name].equals(values):
            self._faults.append(Fault("labels-differ", name, "two sets of labels", "one set of labels along a dimension",
                                      "nothing is matched or filled in: give all arrays the same"))  # fmt: skip
        self.coords.setdefault(name, values)

    @staticmethod
    def _together(
        given: Mapping[str, Any],
    ) -> tuple[dict[str, NDArray[Any]], tuple[str, ...], tuple[int, ...]]:
        """(flat columns by name, dimensions, sizes) of arrays spread over all their dimensions."""
        if not given:
            return {}, (), ()
        library = _xarray()
        try:
            spread = library.broadcast(*library.align(*given.values(), join="exact", copy=False))
        except ValueError as differs:
            raise Refused([
                Fault("labels-differ", "", str(differs).splitlines()[0][:200], "one set of labels along a dimension",
                      "nothing is matched or filled in: give all arrays the same labels")
            ]) from None  # fmt: skip
        first = spread[0]
        columns = {
            name: np.ravel(each.transpose(*first.dims).data) for name, each in zip(given, spread, strict=True)
        }
        if not first.dims:
            columns = {name: column[0] for name, column in columns.items()}
        return columns, tuple(str(dim) for dim in first.dims), first.shape
