"""What a farm has that a fault may be aimed at."""

from __future__ import annotations

from farm.description import DescribedSeries, Farm, ZoneKind
from farm.quantities import Kind
from simulator.fault_kinds import NATURES, Acts, Aim, FaultKind

LOUVRE, DOOR = "louvre", "door"
CIRCUITS = ("lights", "air_conditioner", "heater", "fans", "pump", "doser")


def targets(farm: Farm, kind: FaultKind) -> list[str]:
    """Return the names that a kind of fault may be aimed at on a farm, in the description's order."""
    nature = NATURES[kind]
    match nature.aim:
        case Aim.ROW:
            return _zones(farm, ZoneKind.GROWING_ROW)
        case Aim.SHELF:
            return _zones(farm, ZoneKind.SEEDLING_SHELF)
        case Aim.LAMP_GROUP:
            return [group.name for group in farm.equipment.lamp_groups]
        case Aim.NUTRIENT:
            return [stock.name for stock in farm.equipment.stocks if stock.role == "nutrient"]
        case Aim.STOCK:
            return [stock.name for stock in farm.equipment.stocks]
        case Aim.OPENING:
            return [LOUVRE, DOOR]
        case Aim.CIRCUIT:
            return list(CIRCUITS)
        case Aim.SERIES:
            return [one.key for one in farm.series if _fits(one, kind)]
        case Aim.ZONE:
            return list(farm.zones)
        case Aim.NOTHING:
            return []


def _zones(farm: Farm, kind: ZoneKind) -> list[str]:
    return [name for name, zone in farm.zones.items() if zone.kind == kind]


def _fits(one: DescribedSeries, kind: FaultKind) -> bool:
    """Whether a sensor's fault may be aimed at a series."""
    of = NATURES[kind].of
    if of:
        return one.quantity in of
    return kind == FaultKind.SENSOR_STUCK or one.registered.kind == Kind.LEVEL


def lacks(farm: Farm, kind: FaultKind) -> str:
    """Return what a farm would need for a kind of fault and has not, in words; empty where nothing is lacking."""
    equipment, nature = farm.equipment, NATURES[kind]
    roles = {stock.role for stock in equipment.stocks}
    needs = {
        FaultKind.ACID_EMPTY: ("a stock with the role acid", "acid" in roles),
        FaultKind.BASE_EMPTY: ("a stock with the role base", "base" in roles),
        FaultKind.RO_MEMBRANE_TIRED: ("[equipment.reverse_osmosis]", equipment.reverse_osmosis),
        FaultKind.RO_FEED_COLD: ("[equipment.reverse_osmosis]", equipment.reverse_osmosis),
        FaultKind.FILTER_LOADING: ("[[equipment.filters]]", equipment.filters),
        FaultKind.PUMP_OFF: ("[[equipment.drip_rows]]", equipment.drip_rows),
        FaultKind.EMITTERS_CLOGGED: ("[[equipment.drip_rows]]", equipment.drip_rows),
        FaultKind.SUMP_RETURN_LOST: ("[[equipment.drip_rows]]", equipment.drip_rows),
        FaultKind.CO2_BOTTLE_EMPTY: ("[equipment.carbon_dioxide]", equipment.carbon_dioxide),
        FaultKind.CO2_VALVE_STUCK_OPEN: ("[equipment.carbon_dioxide]", equipment.carbon_dioxide),
    }
    what, there = needs.get(kind, ("", True))
    if not there:
        return what
    if nature.aim is not Aim.NOTHING and not targets(farm, kind):
        return f"a {nature.aim}" + (f" of {' or '.join(nature.of)}" if nature.of else "")
    return ""


def target_of(farm: Farm, kind: FaultKind, target: str) -> str:
    """Return what a fault is aimed at on a farm: the name given, or the only one there is.

    Returns
    -------
    target : str
        Empty for a fault that has no target, or that acts on all there are.

    Raises
    ------
    ValueError
        If the farm has no such target, or several and none was named.
    """
    nature = NATURES[kind]
    known = targets(farm, kind)
    if lacking := lacks(farm, kind):
        raise ValueError(f"{kind} needs {lacking}, which the farm {farm.name!r} does not have: leave the fault out")
    if nature.aim is Aim.NOTHING:
        if target:
            raise ValueError(f"{kind} has the unknown target {target!r}; there is: none: leave the target out")
        return ""
    if target in known:
        return target
    if target:
        raise ValueError(f"{kind} has the unknown target {target!r}; there is: {', '.join(known)}")
    if nature.all:
        return ""
    if len(known) == 1:
        return known[0]
    raise ValueError(f"{kind} needs a target, the name of one {nature.aim}; there is: {', '.join(known)}")


def usual_size(farm: Farm, kind: FaultKind, target: str, level: int) -> float:
    """Return a kind of fault's mild (0), usual (1) or severe (2) size on a farm."""
    size = NATURES[kind].sizes[level]
    if kind != FaultKind.SENSOR_OFFSET:
        return size
    described = next(one for one in farm.series if one.key == target)
    return size * (described.plus_or_minus or 1.0)


def farm_kinds() -> list[FaultKind]:
    """Return the kinds that act on the physics."""
    return [kind for kind, nature in NATURES.items() if nature.acts is Acts.FARM]
