"""The department's scanner: what it takes for malware, or cannot look at, is not kept.

Checked against: the EICAR test file (eicar.org: 68 characters that every scanner reports); OWASP
ASVS 5.0 V5.4.3.
"""

import sys

import pytest

from decussate.errors import BadInput
from decussate.records.scanning import Scanner

EICAR = "".join(
    ("X5O!P%@AP[4\\PZX54(P^)7CC)7}$", "EICAR-STANDARD-ANTIVIRUS-TEST-FILE!$H+H*")
).encode()
"""In two parts, so that no scanner takes this file for the test file."""

STAND_IN = "import sys; sys.exit(b'EICAR-STANDARD-ANTIVIRUS' in sys.stdin.buffer.read())"


def scanner(program: str, seconds: float = 60.0) -> Scanner:
    return Scanner((sys.executable, "-c", program), seconds)


def test_malware_is_refused_and_a_harmless_file_let_in():
    scanner(STAND_IN).require_harmless("chart.csv", b"ear,frequency\n")
    with pytest.raises(BadInput, match="takes for malware"):
        scanner(STAND_IN).require_harmless("letter.pdf", EICAR)


@pytest.mark.parametrize(
    ("program", "seconds"),
    [("import sys; sys.exit(2)", 60.0), ("import time; time.sleep(60)", 0.2)],
)
def test_a_scanner_that_fails_lets_nothing_in(program: str, seconds: float):
    with pytest.raises(BadInput, match="not scanned"):
        scanner(program, seconds).require_harmless("letter.pdf", b"harmless")


def test_a_scanner_must_be_there():
    assert Scanner.of_command("") is None
    with pytest.raises(BadInput, match="a program that is there"):
        Scanner.of_command("no-such-scanner-anywhere -")
    with pytest.raises(BadInput, match="words"):
        Scanner.of_command('"unclosed')


def test_no_shell_reads_the_command():
    found = Scanner.of_command(f"{sys.executable} -c 'pass' ; rm -rf /nowhere")
    assert found is not None
    assert ";" in found.words  # a word like any other, handed to the program
