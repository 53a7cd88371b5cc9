"""Time the choice of a way: on grids of 1,000 to 50,000 nodes and on a real extract.

    python tests/bench/roads.py [--nodes N ...] [--extract FILE.osm.gz --heights FOLDER]

Each case runs in a process of its own, so that memory and start-up are its own. Prints a
table in Markdown; ROADS.md keeps one run.
"""

import argparse
import json
import resource
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

SPACING = 300.0  # of the grid's junctions [m]
SPAN = 30_000.0  # from start to finish, less on small grids [m]


def grid_case(nodes: int) -> dict[str, Any]:
    """A hilly grid of streets, one in twelve missing, a tap every 4 km or so."""
    from roadworks import EAST, NORTH, roads_of, scenario_at, tap

    from haulplan.roads import prepare

    rng = np.random.default_rng(nodes)
    side = round(nodes**0.5)
    x, y = np.meshgrid(np.arange(side) * SPACING, np.arange(side) * SPACING)
    height = 200 + 45 * np.sin(x / 2300) + 35 * np.sin(y / 1700 + x / 5200)
    jitter = rng.uniform(-60, 60, (2, side, side))

    def name(i: int, j: int) -> str:
        return f"n{i}-{j}"

    places = {
        name(i, j): (float(x[i, j] + jitter[0, i, j]), float(y[i, j] + jitter[1, i, j]),
                     float(height[i, j]))
        for i in range(side) for j in range(side)
    }  # fmt: skip
    pairs = [(name(i, j), name(i, j + 1)) for i in range(side) for j in range(side - 1)]
    pairs += [(name(i, j), name(i + 1, j)) for i in range(side - 1) for j in range(side)]
    links = [pair for pair in pairs if rng.random() > 1 / 12]
    reach = min(int(SPAN / SPACING / 2**0.5), side - 3)
    begin = (side - reach) // 2
    ends = {"start": name(begin, begin), "finish": name(begin + reach, begin + reach)}
    step = max(reach // 7, 1)
    taps = tuple(
        tap(f"Tap {i}-{j}", places[name(i, j)], coal_available="1 t", coal_rate="60 kg/min")
        for i in range(begin + step, begin + reach, 2 * step)
        for j in range(begin + step, begin + reach, 2 * step)
    )
    with TemporaryDirectory() as folder:
        stores = {"tank": "1200 L", "bunker": "400 kg"}
        scenario = scenario_at(Path(folder), stores=stores, at_start={"coal": "350 kg"}, **ends)
        assert EAST
        assert NORTH
        roads = roads_of(places, links)
        begun = time.monotonic()
        quest = prepare(replace(scenario, supplies=taps), roads=replace(roads, places={}))
        return chosen_case(quest, begun)


def extract_case(extract: Path, heights: Path) -> dict[str, Any]:
    """A day's tour of a real extract, taps put on it at random."""
    from roadworks import scenario_at

    from haulplan.roads import prepare
    from haulplan.scenario import read_scenario

    with TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(extract, folder / "roads.osm.gz")
        shutil.copytree(heights, folder / "heights")
        rows = ["name,latitude,longitude", "S,49.978,11.52", "F,50.00,11.48", "V,50.04,11.50",
                "W,50.04,11.59"]  # fmt: skip
        (folder / "places.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
        rng = np.random.default_rng(1)
        taps = [
            f"Tap {k},tap,{49.975 + 0.07 * rng.random():.5f},{11.485 + 0.115 * rng.random():.5f},"
            "unlimited,60 L/min,8 min,1 t,100 kg/min" for k in range(16)
        ]  # fmt: skip
        header = ("name,kind,latitude,longitude,water_available,water_rate,set_up,"
                  "coal_available,coal_rate")  # fmt: skip
        (folder / "supply.csv").write_text("\n".join([header, *taps]) + "\n", encoding="utf-8")
        route = {"network": "roads.osm.gz", "heights": "heights", "snap": "600 m"}
        scenario_at(folder, start="S", finish="F", route=route, stores={"tank": "1200 L",
                    "bunker": "500 kg"}, at_start={"coal": "300 kg"})  # fmt: skip
        begun = time.monotonic()
        quest = prepare(read_scenario(folder), via=["V", "W"])
        return chosen_case(quest, begun)


def chosen_case(quest: Any, begun: float) -> dict[str, Any]:  # noqa: ANN401  a Quest
    """Choose, and say what it took."""
    from haulplan.roads import choose_way

    ready = time.monotonic()
    chosen = choose_way(quest)
    done = time.monotonic()
    return {
        "nodes": len(quest.network.node_names),
        "edges": int(quest.streets.usable.sum()),
        "stops": len(quest.supplies),
        "way_km": chosen.best.driven.route.length / 1000,
        "ready_s": ready - begun,
        "choose_s": done - ready,
        "planned": chosen.planned + chosen.barren,
        "gap": chosen.gap,
        "searches": searches(quest),
        "cpu_s": time.process_time(),
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def searches(quest: Any) -> tuple[float, float]:  # noqa: ANN401  a Quest
    """Seconds for one least-time tree: scipy's search, and networkx's on the same edges."""
    import networkx as nx

    from haulplan.roads.search import least_to

    weight = quest.streets.usage.time.min(axis=(1, 2))
    begun = time.monotonic()
    least_to(quest.streets, weight, [quest.start])
    between = time.monotonic()
    graph = quest.network.graph(quest.streets.usable).reverse(copy=False)
    ready = time.monotonic()
    nx.single_source_dijkstra_path_length(
        graph, quest.start, weight=lambda a, b, d: min(float(weight[k]) for k in d)
    )
    return between - begun, time.monotonic() - ready


def main() -> None:
    """Run the cases and print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--nodes", type=int, nargs="*", default=[1_000, 10_000, 50_000])
    parser.add_argument("--extract", type=Path)
    parser.add_argument("--heights", type=Path)
    parser.add_argument("--one", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        one = extract_case(given.extract, given.heights) if given.one == "real" else (
            grid_case(int(given.one))
        )  # fmt: skip
        print(json.dumps(one))
        return
    cases = [str(nodes) for nodes in given.nodes] + (["real"] if given.extract else [])
    print("| roads | nodes | edges in use | supplies | way km | whole s | cpu s | ready s | "
          "choose s | ways planned | gap % | scipy s | networkx s | peak MiB |")  # fmt: skip
    print("|---" * 14 + "|")
    for case in cases:
        words = [sys.executable, __file__, "--one", case]
        if given.extract:
            words += ["--extract", str(given.extract), "--heights", str(given.heights)]
        begun = time.monotonic()
        done = subprocess.run(words, check=True, capture_output=True, text=True)
        whole = time.monotonic() - begun
        r = json.loads(done.stdout)
        print(f"| {'extract' if case == 'real' else 'grid'} | {r['nodes']} | {r['edges']} | "
              f"{r['stops']} | {r['way_km']:.1f} | {whole:.1f} | {r['cpu_s']:.1f} | "
              f"{r['ready_s']:.1f} | {r['choose_s']:.1f} | {r['planned']} | {100 * r['gap']:.1f} | "
              f"{r['searches'][0]:.3f} | {r['searches'][1]:.3f} | {r['peak_mib']:.0f} |",
              flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
