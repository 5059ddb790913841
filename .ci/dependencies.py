"""Checks the dependencies that a build resolves: licences, sources, and the least Rust they ask for."""

import json
import re
import subprocess
import sys

# Licences under which the program may be handed on with its own (MIT or Apache-2.0).
ALLOWED = {
    "MIT", "MIT-0", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause",
    "ISC", "Zlib", "Unicode-3.0", "Unlicense", "CC0-1.0", "0BSD", "BSL-1.0", "bzip2-1.0.6",
}
# Key packages of which two versions side by side would not understand one another's values.
ONCE = {"arrow-schema", "parquet", "polars-core", "ndarray", "faer", "jiff"}


def allowed(expression: str) -> bool:
    """Whether one side of every "or" is allowed, all sides of every "and"."""
    expression = expression.replace("/", " OR ").replace("(", " ( ").replace(")", " ) ")
    for licence in sorted(ALLOWED, key=len, reverse=True):
        expression = re.sub(rf"(?<![\w.-]){re.escape(licence)}(?![\w.-])", " True ", expression)
    expression = re.sub(r"\bOR\b", "or", expression)
    expression = re.sub(r"\bAND\b", "and", expression)
    words = expression.split()
    words = [w if w in {"True", "or", "and", "(", ")"} else "False" for w in words]
    return bool(eval(" ".join(words), {"__builtins__": {}}))  # noqa: S307: five known words only


def main() -> int:
    metadata = json.loads(subprocess.run(
        ["cargo", "metadata", "--format-version", "1", "--locked"],
        check=True, capture_output=True, text=True,
    ).stdout)
    problems = []
    own = {p["id"] for p in metadata["packages"] if p["source"] is None}
    versions: dict[str, set[str]] = {}
    least = (0, 0)
    for package in metadata["packages"]:
        name = f"{package['name']} {package['version']}"
        versions.setdefault(package["name"], set()).add(package["version"])
        if package["id"] in own:
            continue
        if not allowed(package["license"] or ""):
            problems.append(f"{name}: licence {package['license']!r} is not on the list")
        if not package["source"].startswith("registry+"):
            problems.append(f"{name}: does not come from the registry")
        rust = package["rust_version"]
        if rust:
            least = max(least, tuple(int(part) for part in rust.split(".")[:2]))
    for name in sorted(ONCE):
        if len(versions.get(name, set())) > 1:
            problems.append(f"{name}: versions {sorted(versions[name])} side by side")
    declared = {p["rust_version"] for p in metadata["packages"] if p["id"] in own}
    wanted = ".".join(str(part) for part in least)
    if declared != {wanted}:
        problems.append(f"rust-version is {sorted(map(str, declared))}, dependencies ask for {wanted}")
    for problem in problems:
        print(problem)
    print(f"{len(metadata['packages']) - len(own)} dependencies, least Rust {wanted}")
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
