"""The page of licences names everything that is shipped, and agrees with what each part says.

Held against the lock file, the metadata of the installed packages (core metadata, PEP 639), the
licence files beside vendored assets, and what the compiled library of SQLCipher says of itself.
"""

import re
from contextlib import closing
from importlib.metadata import distribution
from pathlib import Path

import pytest
import sqlcipher3
import sqlcipher3.dbapi2 as sqlcipher

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
VENDORED = ROOT / "src" / "decussate" / "web" / "static" / "vendor"

ON_REQUEST = {"psycopg", "psycopg-binary"}

CLASSIFIED = {
    "MIT License": {"MIT"},
    "BSD License": {"BSD-2-Clause", "BSD-3-Clause"},
    "Apache Software License": {"Apache-2.0"},
    "Mozilla Public License 2.0 (MPL 2.0)": {"MPL-2.0"},
}
"""What the older metadata (trove classifiers) may mean."""

PERMITTED = {
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "LGPL-3.0-only",
    "LLVM-exception", "MIT", "MIT-0", "MIT-CMU", "MPL-2.0", "PSF-2.0", "Zlib",
}  # fmt: skip
"""Licences that let a program under Apache-2.0 use the package as it is (common practice)."""


def rows(title: str) -> list[list[str]]:
    section = re.search(rf"^## {title}$(.*?)(^## |\Z)", PAGE, re.M | re.S)
    assert section is not None
    lines = [line for line in section[1].splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


PACKAGES: dict[str, str] = dict(rows("Installed with it"))


def test_every_locked_package_is_on_the_page_and_no_other():
    locked = re.findall(r"^([\w.-]+)==", (ROOT / "requirements.lock").read_text(), re.M)
    assert set(PACKAGES) == set(locked) | ON_REQUEST


@pytest.mark.parametrize("name", sorted(PACKAGES))
def test_the_page_says_what_the_package_says(name):
    found = distribution(name)
    said = found.metadata.get("License-Expression")
    kinds = [c.rpartition(" :: ")[2] for c in found.metadata.get_all("Classifier", [])]
    classified = [CLASSIFIED[kind] for kind in kinds if kind in CLASSIFIED]
    if said:
        assert PACKAGES[name] == said
    elif classified:
        assert PACKAGES[name] in classified[0]
    else:  # the file alone tells
        texts = [f for f in found.files or () if Path(f).name.startswith("LICEN")]
        words = " ".join(texts[0].read_text().split()) if texts else found.metadata["License"]
        known = {"Zlib": "The origin of this software must not be misrepresented", "MIT": "MIT"}
        assert known[PACKAGES[name]] in words
    assert set(re.split(r" AND | OR | WITH ", PACKAGES[name])) <= PERMITTED


def test_everything_vendored_is_on_the_page_with_its_licence_beside_it():
    scripts = {path.name.removesuffix(".min.js") for path in VENDORED.glob("*.js")}
    assert {what.replace(" ", "-") for what, _, _ in rows("In the repository")} == scripts
    for name in scripts:
        assert "Zero-Clause BSD" in (VENDORED / f"{name}.LICENSE.txt").read_text()


def test_what_is_inside_belongs_to_a_package_on_the_page():
    for packages, _, _ in rows("Inside those packages"):
        assert set(packages.split(", ")) <= set(PACKAGES)


def test_the_library_of_the_cipher_is_what_the_page_says():
    with closing(sqlcipher.connect(":memory:")) as connection:
        version = connection.execute("PRAGMA cipher_version").fetchone()[0]
    assert re.fullmatch(r"4\.\d+\.\d+ community", version)
    (library,) = Path(sqlcipher3.__file__).parent.glob("_sqlite3*")
    assert re.search(rb"OpenSSL 3\.\d+\.\d+ ", library.read_bytes())
    assert "ZETETIC LLC. All rights reserved." in PAGE
