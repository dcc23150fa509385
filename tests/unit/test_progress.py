"""Progress where standard error is no terminal: a line every half minute, none in a short run."""

import re
import time

from clearance.cli.terminal import LOG_EVERY_S, Log, progress


def test_a_log_says_every_while_what_is_going_on(capsys):
    log = Log("reading a.stl", every_s=0.02)
    time.sleep(0.1)
    log("tube 1: nominal part")
    time.sleep(0.1)
    log.end()
    lines = capsys.readouterr().err.splitlines()
    assert all(re.fullmatch(r" +\d+ s  (reading a.stl|tube 1: nominal part)", one) for one in lines)
    assert lines[0].endswith("reading a.stl")
    assert lines[-1].endswith("tube 1: nominal part")  # not only when something new begins
    time.sleep(0.05)
    assert capsys.readouterr().err == ""


def test_a_short_run_says_nothing(capsys):
    assert LOG_EVERY_S == 30.0
    with progress("reading a.stl") as say:
        say("tube 1: nominal part")
    assert capsys.readouterr().err == ""
