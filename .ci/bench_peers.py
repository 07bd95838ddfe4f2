"""Runs and times the engines for `.ci/bench-peers`; `peer ENGINE TASK IN OUT` runs one of them in a process of its own."""
import os, resource, shutil, subprocess, sys, time

RUNS = 3
PEERS = [
    ("richdem2", "slope"), ("whitebox", "slope"),
    ("richdem2", "fill"), ("whitebox", "fill"), ("pyflwdir", "fill"),
    ("richdem2", "d8acc"), ("whitebox", "d8acc"), ("pyflwdir", "d8acc"),
    ("richdem2", "dinf"),
]


def peer(engine, task, source, out):
    """One task; prints what the method alone took."""
    import numpy, rasterio

    spent = [0.0, 0.0]

    def timed(work, *args, **options):
        wall, cpu = time.perf_counter(), time.process_time()
        result = work(*args, **options)
        spent[0] += time.perf_counter() - wall
        spent[1] += time.process_time() - cpu
        return result

    if engine == "whitebox":
        import whitebox_workflows
        e = whitebox_workflows.WbEnvironment()
        dem = timed(e.read_raster, source)
        if task == "slope":
            result = timed(e.terrain.slope, input=dem, units="percent")
        else:
            result = timed(e.hydrology.fill_depressions, dem=dem, fix_flats=task == "d8acc")
            if task == "d8acc":
                result = timed(e.hydrology.d8_flow_accum, input=result, out_type="cells")
        e.write_raster(result, out)
    else:
        with rasterio.open(source) as f:
            heights, profile = f.read(1), f.profile
        if engine == "richdem2":
            import richdem
            dem = richdem.rdarray(heights, no_data=-9999, geotransform=(0, 1, 0, 0, 0, -1))
            dem.projection = ""
            if task == "slope":
                result = timed(richdem.TerrainAttribute, dem, attrib="slope_percentage")
            else:
                result = timed(richdem.FillDepressions, dem, epsilon=task != "fill")
                if task != "fill":
                    result = timed(richdem.FlowAccumulation, result, method={"d8acc": "D8", "dinf": "Dinf"}[task])
        else:
            import pyflwdir
            # Compiled on a small grid first, so that the method alone is timed warm.
            small = heights[:64, :64].copy()
            pyflwdir.from_array(pyflwdir.dem.fill_depressions(small, nodata=-9999.0)[1], ftype="d8").upstream_area()
            result, directions = timed(pyflwdir.dem.fill_depressions, heights, nodata=-9999.0)
            if task == "d8acc":
                flow = timed(pyflwdir.from_array, directions, ftype="d8", latlon=False)
                result = timed(flow.upstream_area, unit="cell")
        result = numpy.asarray(result)
        profile.update(dtype=str(result.dtype), nodata=None)
        with rasterio.open(out, "w", **profile) as f:
            f.write(result, 1)
    print("KERNEL %.4f CPU %.4f" % tuple(spent))


def measure(command):
    """Median of the runs by wall time: (wall, cpu, method wall, method cpu, peak kB)."""
    runs = []
    for _ in range(RUNS):
        start = time.perf_counter()
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        said = process.stdout.read()
        _, status, used = os.wait4(process.pid, 0)
        wall = time.perf_counter() - start
        if status != 0:
            return None
        kernel = next((line.split() for line in said.splitlines() if line.startswith("KERNEL")), None)
        alone = (float(kernel[1]), float(kernel[3])) if kernel else (float("nan"),) * 2
        runs.append((wall, used.ru_utime + used.ru_stime, *alone, used.ru_maxrss))
    return sorted(runs)[RUNS // 2]


def main(ours, scratch, sides):
    print("CPUs %d, load %s, threads %s" % (os.cpu_count(), os.getloadavg(), os.environ.get("RAYON_NUM_THREADS", "all")))
    form = "%-10s %-6s %8s %8s %8s %8s %9s %7s"
    for side in sides:
        dem, out = f"{scratch}/farm{side}.tif", f"{scratch}/out.tif"
        subprocess.run([ours, "make", str(side), dem], check=True)
        cells = side * side
        print(f"\nsynthetic farm, {cells / 1e6:.0f} million cells")
        print(form % ("engine", "task", "wall_s", "cpu_s", "alone_s", "alone_cpu", "Mcells/s", "B/cell"))
        jobs = [("rowfall", task, [ours, task, dem, out]) for task in ("slope", "fill", "d8acc", "dinf")]
        if shutil.which("gdaldem"):
            jobs.append(("gdaldem", "slope", ["gdaldem", "slope", "-q", "-p", dem, out]))
        if shutil.which("grass"):
            steps = [f"r.in.gdal -o input={dem} output=d --q", "g.region raster=d",
                     "r.watershed -s elevation=d accumulation=acc drainage=dir memory=4000 --q",
                     f"r.out.gdal input=acc output={out} --q"]
            jobs.append(("grass", "d8acc", ["grass", "--tmp-location", dem, "--exec", "sh", "-c", " && ".join(steps)]))
        jobs += [(e, t, [sys.executable, __file__, "peer", e, t, dem, out]) for e, t in PEERS]
        found = {}
        for engine, task, command in sorted(jobs, key=lambda j: ("slope", "fill", "d8acc", "dinf").index(j[1])):
            if os.path.exists(out):
                os.remove(out)
            got = measure(command)
            if got is None:
                print(f"{engine:10} {task:6} failed or is not installed")
                continue
            found[engine, task] = got
            wall, cpu, alone, alone_cpu, peak = got
            print(form % (engine, task, f"{wall:.2f}", f"{cpu:.2f}", f"{alone:.3f}", f"{alone_cpu:.2f}",
                          f"{cells / alone / 1e6:.1f}", f"{peak * 1024 / cells - 4:.1f}"), flush=True)
        for task in ("slope", "fill", "d8acc", "dinf"):
            own = found.get(("rowfall", task))
            others = [(v, e) for (e, t), v in found.items() if t == task and e != "rowfall"]
            if own is None or not others:
                continue
            for k, what in enumerate(["whole process, wall", "whole process, CPU", "method alone, wall", "method alone, CPU"]):
                best = min((v[k], e) for v, e in others if v[k] == v[k]) if any(v[k] == v[k] for v, _ in others) else None
                if best:
                    print(f"{task}, {what}: {best[0] / own[k]:.1f} times faster than {best[1]}")
        toolkit, own = found.get(("grass", "d8acc")), found.get(("rowfall", "d8acc"))
        if toolkit and own:
            print(f"d8acc, whole process, wall: {toolkit[0] / own[0]:.1f} times faster than the desktop toolkit grass")


if sys.argv[1] == "peer":
    peer(*sys.argv[2:6])
else:
    main(sys.argv[1], sys.argv[2], [int(side) for side in sys.argv[3:]])
