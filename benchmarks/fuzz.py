"""Feeds the readers damaged files, guided by what their code does with them.

The engine is atheris (coverage-guided fuzzing for Python; `pip install atheris`); the damage is that of
`tests/fuzz/mutations.py`, mixed with the engine's own. A case may take 10 seconds and the process 2 GB.

    python benchmarks/fuzz.py svg --seconds 600 --folder /tmp/fuzz
    python benchmarks/fuzz.py --report /tmp/fuzz        # what all runs into that folder came to
    python benchmarks/fuzz.py svg --replay FILE         # one input again, without the engine
    python benchmarks/fuzz.py svg --inputs 1000 --seed 2  # so many, unguided: the same ones each time

Corpus and finds are kept in the folder, so that a later run goes on where the last one ended. A find that
is mended goes into `tests/replays/` with a test.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import re
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

#: Processor time that a case may take, and memory that the process may take.
SECONDS_A_CASE, MEGABYTES = 10, 2048
#: After so many seconds by the clock a case counts as hanging, however busy the machine is.
HANGS = 100


def fuzz(name: str, folder: Path, seconds: int, seed: int) -> None:
    """Run the engine in this process; it ends the process."""
    import atheris

    with atheris.instrument_imports(include=["nestkit"], enable_loader_override=False):
        from tests.fuzz.targets import TARGETS
    from tests.fuzz.mutations import damaged

    target = TARGETS[name]
    memory = Path("/dev/shm")
    work = Path(tempfile.mkdtemp(prefix=f"fuzz-{name}-", dir=memory if memory.is_dir() else None))
    read = target.make(work)
    corpus, finds = folder / name / "corpus", folder / name / "finds"
    for each in (corpus, finds):
        each.mkdir(parents=True, exist_ok=True)
    seeds = target.seeds(work)
    for data in seeds:
        (corpus / hashlib.sha1(data).hexdigest()).write_bytes(data)
    words: dict[str, int] = {}
    slowest = [0.0]
    noted = folder / name / f"words-{time.time_ns()}.json"

    def one(data: bytes) -> None:
        word, spent = judged(read, data, finds)
        words[word] = words.get(word, 0) + 1
        slowest[0] = max(slowest[0], spent)
        if sum(words.values()) % 200 == 0:
            noted.write_text(json.dumps({"words": words, "slowest": round(slowest[0], 2)}))

    def change(data: bytes, most: int, number: int) -> bytes:
        chance = random.Random(number)
        # What was refused stays refused, so that much starts anew from what is sound.
        if chance.random() < 0.4:
            data = chance.choice(seeds)
        elif chance.random() < 0.25:
            return bytes(atheris.Mutate(data, most))
        return damaged(data, target.form, chance)[:most]

    arguments = [sys.argv[0], str(corpus), f"-max_total_time={seconds}", f"-timeout={HANGS}"]
    arguments += [
        f"-rss_limit_mb={MEGABYTES}",
        f"-artifact_prefix={finds}/",
        f"-seed={seed}",
        "-max_len=30000",
    ]
    arguments += ["-print_final_stats=1", "-len_control=0", "-detect_leaks=0"]
    atheris.Setup(arguments, one, custom_mutator=change)
    atheris.Fuzz()


def judged(read: Callable[[bytes], str], data: bytes, finds: Path) -> tuple[str, float]:
    """What a reader says of an input, and the processor time it took; what goes wrong is kept."""
    start = time.process_time()
    try:
        word = read(data)
        spent = time.process_time() - start
        if spent > SECONDS_A_CASE:
            raise TimeoutError(f"{spent:.1f} s of processor time")
    except Exception as error:  # whatever it is: that is what is looked for
        word = "find"
        keep_find(finds, data, error)
    return word, time.process_time() - start


def keep_find(finds: Path, data: bytes, error: BaseException) -> None:
    """Keep the smallest input for each place at which something went wrong."""
    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if "nestkit" in frame.filename]
    place = f"{Path(frames[-1].filename).stem}-{frames[-1].lineno}" if frames else "outside"
    stem = finds / f"{type(error).__name__}-{place}"
    kept = stem.with_suffix(".input")
    finds.mkdir(parents=True, exist_ok=True)
    if not kept.exists() or kept.stat().st_size > len(data):
        kept.write_bytes(data)
        stem.with_suffix(".txt").write_text("".join(traceback.format_exception(error)), "utf-8", "replace")


def run(name: str, folder: Path, seconds: int, seed: int) -> None:
    """Run the engine in processes of its own until the time is up: a hang or a full memory ends one."""
    end = time.monotonic() + seconds
    (folder / name).mkdir(parents=True, exist_ok=True)
    while (left := int(end - time.monotonic())) > 5:
        seed += 1
        log = folder / name / f"log-{time.time_ns()}.txt"
        command = [sys.executable, __file__, name, "--folder", str(folder), "--inside"]
        with log.open("w") as stream:
            start = time.monotonic()
            subprocess.run(
                [*command, "--seconds", str(left), "--seed", str(seed)],
                stdout=stream,
                stderr=subprocess.STDOUT,
                cwd=ROOT,
                check=False,
            )
        with log.open("a") as stream:
            stream.write(f"\nstat::seconds: {time.monotonic() - start:.0f}\n")
        if time.monotonic() - start < 5:
            print(log.read_text()[-2000:])
            return


def report(folder: Path) -> None:
    """What all runs into a folder came to."""
    heads = [
        "reader",
        "seconds",
        "executions",
        "read",
        "findings",
        "refused",
        "edges",
        "inputs kept",
        "slowest s",
        "finds",
    ]
    print(f"| {' | '.join(heads)} |")
    print("|---" * len(heads) + "|")
    for each in sorted(path for path in folder.iterdir() if (path / "corpus").is_dir()):
        logs = [log.read_text(errors="replace") for log in each.glob("log-*.txt")]
        seconds = sum(int(n) for log in logs for n in re.findall(r"stat::seconds: (\d+)", log))
        edges = max((int(n) for log in logs for n in re.findall(r"cov: (\d+)", log)), default=0)
        words: dict[str, int] = {}
        slowest = 0.0
        for file in each.glob("words-*.json"):
            told = json.loads(file.read_text())
            slowest = max(slowest, told["slowest"])
            for word, count in told["words"].items():
                words[word] = words.get(word, 0) + count
        counted = [sum(words.values()), *(words.get(word, 0) for word in ("read", "findings", "refused"))]
        finds = len([path for path in (each / "finds").iterdir() if path.suffix != ".txt"])
        cells = [seconds, *(f"{n:,}" for n in counted), f"{edges:,}", len(list((each / "corpus").iterdir()))]
        print(f"| {each.name} | " + " | ".join(map(str, [*cells, slowest, finds])) + " |")


def replay(name: str, file: Path) -> None:
    """One input again; a traceback shows what is wrong."""
    from tests.fuzz.targets import TARGETS

    with tempfile.TemporaryDirectory() as work:
        start = time.monotonic()
        print(TARGETS[name].make(Path(work))(file.read_bytes()), f"{time.monotonic() - start:.2f} s")


def unguided(name: str, folder: Path, inputs: int, seed: int) -> None:
    """Damage the seeds so many times without the engine; the same numbers give the same inputs anywhere."""
    from tests.fuzz.mutations import damaged
    from tests.fuzz.targets import TARGETS

    target, finds = TARGETS[name], folder / name / "finds"
    words: dict[str, int] = {}
    slowest = 0.0
    with tempfile.TemporaryDirectory() as work:
        read, seeds = target.make(Path(work)), target.seeds(Path(work))
        for number in range(inputs):
            chance = random.Random(f"{seed} {number}")
            data = damaged(chance.choice(seeds), target.form, chance)
            word, spent = judged(read, data, finds)
            words[word] = words.get(word, 0) + 1
            slowest = max(slowest, spent)
    counted = (words.get(word, 0) for word in ("read", "findings", "refused", "find"))
    print(
        f"| {name} | {inputs:,} | " + " | ".join(f"{n:,}" for n in counted) + f" | {slowest:.2f} |",
        flush=True,
    )


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("target", nargs="?", help="which reader; see tests/fuzz/targets.py")
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, default=Path("fuzz"))
    parser.add_argument("--inputs", type=int, help="so many damaged inputs, unguided")
    parser.add_argument("--report", type=Path, metavar="FOLDER")
    parser.add_argument("--replay", type=Path, metavar="FILE")
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.report:
        report(asked.report)
    elif asked.replay:
        replay(asked.target, asked.replay)
    elif asked.inputs:
        unguided(asked.target, asked.folder.resolve(), asked.inputs, asked.seed)
    elif asked.inside:
        fuzz(asked.target, asked.folder.resolve(), asked.seconds, asked.seed)
    else:
        run(asked.target, asked.folder.resolve(), asked.seconds, asked.seed)


if __name__ == "__main__":
    main()
