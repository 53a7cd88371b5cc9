"""Writing a small problem as a scenario folder."""

from pathlib import Path

from small.problems import UNLIMITED, Problem, Tap

__all__ = ["write_problem"]


def _clock(minutes: float) -> str:
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}"


def write_problem(problem: Problem, folder: Path) -> Path:
    """The problem as a scenario folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "scenario.toml").write_text("\n".join(_toml(problem)) + "\n")
    _write_demand(problem, folder)
    for name, text in (
        ("supply.csv", _supply_table(problem)),
        ("bridges.csv", _bridge_table(problem)),
        ("places.csv", _place_table(problem)),
        ("stores.csv", _store_table(problem)),
        ("route.gpx", _track(problem)),
        ("route.csv", _profile(problem)),
    ):
        if text:
            (folder / name).write_text(text)
    return folder


def _toml(problem: Problem) -> list[str]:
    lines = [
        'title = "small"', 'start = "A"', 'finish = "B"', "date = 2027-05-01",
        'depart = "08:00"', 'units = "metric"',
        f'standing_water = "{problem.standing[0]!r} kg/min"',
        f'standing_coal = "{problem.standing[1]!r} kg/min"',
        f'serving = "{problem.serving}"',
        f'bridge_margin = "{100 * problem.margin!r} %"',
    ]  # fmt: skip
    if problem.depart_by is not None:
        lines.append(f'depart_by = "{_clock(problem.depart_by)}"')
    lines += ["[stores]", f'tank = "{problem.tank!r} kg"', f'bunker = "{problem.bunker!r} kg"']
    for section, levels in (
        ("reserve", problem.reserve), ("at_start", problem.start), ("at_finish", problem.finish),
        ("last_resort", problem.last_resort),
    ):  # fmt: skip
        if levels is not None:
            lines += [f"[{section}]", f'water = "{levels[0]!r} kg"', f'coal = "{levels[1]!r} kg"']
    lines.append("[aim]")
    lines += [
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value!r}"
        for key, value in problem.aim.items()
    ]
    if problem.longitudes:
        lines += ["[route]", 'file = "route.gpx"']
    if problem.heights:
        lines += ["[route]", 'file = "route.csv"']
    lines += ["[quality]", f'strain = "{problem.strain!r} min"']
    lines += [f'most_{word} = "{100 * share!r} %"' for word, share in problem.shares]
    if problem.wet:
        lines += ["[conditions]", 'weather = "wet"']
    return [*lines, *_toml_of_the_day(problem), *_toml_of_the_train(problem)]


def _toml_of_the_day(problem: Problem) -> list[str]:
    lines = ["[hours]", f'earliest = "{_clock(problem.earliest)}"']
    lines.append(f'latest = "{_clock(problem.latest)}"')
    if problem.crew is not None:
        lines.append(f'crew = "{problem.crew!r} min"')
    lines += [f'rest = "{problem.rest!r} min"', "[lighting_up]"]
    lines.append(f'cold = "{problem.lead_cold!r} min"')
    lines.append(f'banked = "{problem.lead_banked!r} min"')
    for number, duty in enumerate(problem.duties):
        every = (
            f'hours = "{duty.minutes!r} min"'
            if duty.metres is None
            else f'miles = "{duty.metres!r} m"'
        )
        beside = "yes" if duty.beside else "no"
        lines += [
            "[[duties]]", f'name = "duty {number}"', every, f'takes = "{duty.takes!r} min"',
            f'beside = "{beside}"',
        ]  # fmt: skip
    for number, meal in enumerate(problem.meals):
        lines += [
            "[[meals]]", f'name = "meal {number}"', f'earliest = "{_clock(meal.earliest)}"',
            f'latest = "{_clock(meal.latest)}"', f'takes = "{meal.takes!r} min"',
        ]  # fmt: skip
    if problem.nights is not None:
        nights = problem.nights
        lines += ["[nights]", f"most = {nights.most}", f'fire = "{nights.fire}"']
        for fire in ("banked", "dropped"):
            water, coal = getattr(nights, fire)
            lines += [f'{fire}_water = "{water!r} kg"', f'{fire}_coal = "{coal!r} kg"']
    return lines


def _toml_of_the_train(problem: Problem) -> list[str]:
    lines: list[str] = []
    if problem.engine is None:
        lines += ["[train]", f'dry_weight = "{problem.dry!r} kg"']
    else:
        engine = problem.engine
        lines += [
            "[engine]", 'name = "Brown Owl"', f'weight = "{engine.weight!r} kg"',
            f'weight_on_drivers = "{engine.drivers!r} kg"', 'pressure = "10 bar"',
            "cylinders = 2", 'bore = "17 cm"', 'stroke = "26 cm"', 'wheel_diameter = "1.9 m"',
            'tyre = "rubber"', 'grate_area = "0.7 m2"', 'heating_surface = "14 m2"',
            'boiler_water = "900 L"', 'boiler_metal = "4 t"',
            *(
                []
                if engine.glass is None
                else [f'feed_rate = "{engine.glass.feed!r} kg/min"']
            ),
            "[engine.axles]", f'wheelbase = "{engine.wheelbase!r} m"',
            f'tank_ahead = "{engine.tank_ahead!r} m"',
            f'bunker_ahead = "{engine.bunker_ahead!r} m"',
            "[[engine.gears]]", 'name = "g0"', "ratio = 15.0", 'speed = "5 km/h"',
        ]  # fmt: skip
    lines += _toml_of_the_boiler(problem)
    for wagon in problem.wagons:
        lines += [
            "[[train.wagons]]", f'name = "{wagon.name}"', f'tare = "{wagon.tare!r} kg"',
            f'load = "{wagon.load!r} kg"', 'tyre = "rubber"', f"axles = {wagon.axles}",
        ]  # fmt: skip
        if wagon.wheelbase is not None:
            lines.append(f'wheelbase = "{wagon.wheelbase!r} m"')
            lines.append('behind = "3.5 m"')  # no tandem across a coupling
    return lines


def _toml_of_the_boiler(problem: Problem) -> list[str]:
    if problem.engine is None or problem.engine.glass is None:
        return []
    glass = problem.engine.glass
    figures = {
        "crown_back": glass.crown_back, "tubes_front": glass.tubes_front,
        "tubes_height": glass.tubes_height, "glass_at": 0.3, "glass_bottom": glass.bottom,
        "glass_length": 0.3, "working_level": glass.working, "highest_level": glass.highest,
        "minimum_cover": glass.cover, "swell": 0.0,
    }  # fmt: skip
    return [
        "[engine.glass]",
        *(f'{key} = "{figure!r} m"' for key, figure in figures.items()),
        f'surface_area = "{glass.area!r} m2"',
    ]


def _write_demand(problem: Problem, folder: Path) -> None:
    header = (
        "from [m],to [m],gear,duration [min],water [kg],coal [kg],"
        "water_per_mass [kg/kg],coal_per_mass [kg/kg]"
    )
    rows = [
        f"{s.begin!r},{s.end!r},g{number},{s.minutes!r},{s.water!r},{s.coal!r},"
        f"{s.water_slope!r},{s.coal_slope!r}"
        for options in problem.stretches
        for number, s in enumerate(options)
    ]
    rows += [
        f"{s.end!r},{s.begin!r},g0,{s.minutes!r},{s.water!r},{s.coal!r},"
        f"{s.water_slope!r},{s.coal_slope!r}"
        for s in problem.back
    ]
    (folder / "demand.csv").write_text("\n".join([header, *rows]) + "\n")


def _table(header: str, rows: list[list[str]]) -> str:
    return "\n".join([header, *(",".join(row) for row in rows)]) + "\n" if rows else ""


def _supply_table(problem: Problem) -> str:
    header = (
        "name,kind,at [m],latitude,longitude,water_available,water_rate [kg/min],water_price,"
        "coal_available,coal_rate [kg/min],coal_price,call_out,set_up [min],opens,closes,"
        "access_time [min],access_water [kg],access_coal [kg],turning_time [min],serving,"
        "solids [ppm],quality,turning,standing,night,night_price"
    )
    rows = []
    for number, tap in enumerate(problem.taps):
        cells = [f"tap {number}", "tap", *_where(problem, tap)]
        for amount, rate, price in (
            (tap.water, tap.water_rate, tap.water_price),
            (tap.coal, tap.coal_rate, tap.coal_price),
        ):
            cells += (
                ["", "", ""]
                if amount is None
                else ["unlimited" if amount >= UNLIMITED else f"{amount!r} kg", repr(rate),
                      f"{price!r} USD/kg"]
            )  # fmt: skip
        cells += [f"{tap.call_out!r} USD", repr(tap.set_up), _clock(tap.opens), _clock(tap.closes)]
        cells += [*(repr(figure) for figure in tap.access), repr(tap.turning), tap.serving or ""]
        cells += [repr(tap.solids) if tap.solids else "", tap.quality]
        cells += ["yes" if tap.round else "no"]
        cells += ["dry only" if tap.dry_only else "hard"]
        cells += ["yes" if tap.night else "no", f"{tap.night_price!r} USD"]
        rows.append(cells)
    return _table(header, rows)


def _where(problem: Problem, tap: Tap) -> list[str]:
    """Cells at, latitude and longitude."""
    if not problem.longitudes:
        return [repr(tap.at[0]), "", ""]
    ends = [0.0, *(s[0].end for s in problem.stretches)]
    return ["", "0.000000", f"{problem.longitudes[ends.index(tap.at[0])]:.6f}"]


def _bridge_table(problem: Problem) -> str:
    rows = [
        [
            f"bridge {number}", repr(bridge.at), repr(bridge.limit), bridge.kind,
            "" if bridge.uncouple is None else repr(bridge.uncouple),
            "" if bridge.drain is None else repr(bridge.drain),
        ]
        for number, bridge in enumerate(problem.bridges)
    ]  # fmt: skip
    return _table("name,at [m],limit [kg],kind,uncouple [min],drain [kg/min]", rows)


def _place_table(problem: Problem) -> str:
    rows = [
        [
            f"place {number}", repr(halt.at), "yes" if halt.halt else "no",
            "yes" if halt.night else "no", f"{halt.night_price!r} USD",
            "" if halt.stay is None else repr(halt.stay),
            *(("", "") if halt.stay is None else (_clock(halt.opens), _clock(halt.closes))),
            "" if halt.day is None else str(halt.day),
        ]
        for number, halt in enumerate(problem.halts)
    ]  # fmt: skip
    return _table("name,at [m],halt,night,night_price,stay [min],opens,closes,day", rows)


def _store_table(problem: Problem) -> str:
    rows = []
    if problem.cart is not None:
        cart = problem.cart
        rows.append(
            ["cart", "cart", repr(cart.capacity), "", f"{cart.at_start!r} kg", "",
             repr(cart.rate), "", "", "", "", ""]
        )  # fmt: skip
    if problem.truck is not None:
        truck = problem.truck
        coal = [repr(truck.coal_rate), f"{truck.coal_price!r} USD/kg"] if truck.coal else ["", ""]
        rows.append(
            ["truck", "truck", repr(truck.water), repr(truck.coal) if truck.coal else "", "",
             str(truck.loads), repr(truck.water_rate), coal[0],
             f"{truck.water_price!r} USD/kg", coal[1], f"{truck.call_out!r} USD",
             repr(truck.set_up)]
        )  # fmt: skip
    return _table(
        "name,kind,water [kg],coal [kg],at_start,loads,water_rate [kg/min],coal_rate [kg/min],"
        "water_price,coal_price,call_out,set_up [min]",
        rows,
    )


def _track(problem: Problem) -> str:
    if not problem.longitudes:
        return ""
    points = "".join(f'<trkpt lat="0.000000" lon="{east:.6f}"/>' for east in problem.longitudes)
    return (
        '<?xml version="1.0"?><gpx version="1.1" creator="tests" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><name>out and back</name>'
        f"<trkseg>{points}</trkseg></trk></gpx>"
    )


def _profile(problem: Problem) -> str:
    ends = [0.0, *(s[0].end for s in problem.stretches)]
    rows = [[repr(at), repr(height)] for at, height in zip(ends, problem.heights, strict=False)]
    return _table("distance [m],elevation [m]", rows)
