"""Runs on a disk that fills up while the report, or the record kept in the book, is written.

Usage: disk_full.py PROGRAM. Needs the right to mount a small file system in memory, as root has; says
NOT TRIED and passes where there is none. Fails unless every run is refused with its reason, the
report of before is whole, nothing half-written is left, and a run with room again succeeds.
"""

import pathlib
import subprocess
import sys
import tempfile

ROOM = 48 * 1024 * 1024


def state(folder):
    """Every file but the filler and locks, which say who last wrote, with its bytes."""
    return {
        path.relative_to(folder): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "filler" and not path.name.endswith(".lock")
    }


def fill(disk, left):
    """Leaves about so many bytes on the disk."""
    with open(disk / "filler", "wb", buffering=0) as filler:
        written = 0
        try:
            while True:
                written += filler.write(bytes(4096))
        except OSError:
            filler.truncate(max(0, (written - left) // 4096 * 4096))


def run(program, book, out, *options):
    return subprocess.run([program, "run", book, "--out", out, *options],
                          capture_output=True, text=True)


def tried(program, home, disk):
    """The number of refused runs."""
    book = home / "book"
    subprocess.run([program, "demo", book, "--kind", "first"], check=True, capture_output=True)
    out = disk / "reports"
    assert run(program, book, out).returncode in (0, 1)
    before = state(disk)
    size = sum(len(data) for data in before.values())
    refused = 0
    for share in [0, 0.001, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9]:
        fill(disk, int(share * size))
        ran = run(program, book, out, "--seed", "2")
        assert ran.returncode == 2, (share, ran.returncode, ran.stderr)
        assert "No space left on device" in ran.stderr and "free space" in ran.stderr, ran.stderr
        assert state(disk) == before, f"share {share}: the folder changed"
        refused += 1
        (disk / "filler").unlink()
    assert run(program, book, out, "--seed", "2").returncode in (0, 1)
    assert state(disk) != before, "the run with room wrote nothing"

    # The book on the full disk, its report elsewhere: what was advised cannot be kept.
    small = disk / "book"
    subprocess.run([program, "demo", small, "--kind", "first"], check=True, capture_output=True)
    records = state(small)
    fill(disk, 0)
    ran = run(program, small, home / "elsewhere", "--keep")
    assert ran.returncode == 2 and "No space left on device" in ran.stderr, ran
    assert state(small) == records, sorted(set(state(small)) ^ set(records))
    # Rows read before, kept on the full disk.
    ran = run(program, small, home / "elsewhere", "--cache", disk / "cache")
    assert ran.returncode == 2 and "No space left on device" in ran.stderr, ran
    assert not state(disk / "cache"), sorted(state(disk / "cache"))
    (disk / "filler").unlink()
    assert run(program, small, home / "elsewhere", "--keep").returncode in (0, 1)
    return refused + 2


def main():
    program = pathlib.Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory() as folder:
        home = pathlib.Path(folder)
        disk = home / "disk"
        disk.mkdir()
        options = ["mount", "-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(disk)]
        try:
            mounted = subprocess.run(options, capture_output=True).returncode == 0
        except FileNotFoundError:
            mounted = False
        if not mounted:
            print("NOT TRIED: no right to mount a small disk")
            return
        try:
            print(f"{tried(program, home, disk)} runs on a full disk refused, nothing lost")
        finally:
            subprocess.run(["umount", str(disk)], check=True)


main()
