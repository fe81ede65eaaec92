# SPDX-License-Identifier: GPL-3.0-or-later
"""Asks the statistics program (first argument of a test) many questions at once."""
import subprocess
import sys


def ask(questions):
    """Answers to the questions, in order: a list of floats each, or None for 'garbled'."""
    text = "\n".join(" ".join(map(str, question)) for question in questions) + "\n"
    done = subprocess.run([sys.argv[1]], input=text, capture_output=True, text=True, check=True)
    lines = done.stdout.splitlines()
    assert len(lines) == len(questions), f"{len(lines)} answers to {len(questions)} questions"
    return [None if line == "garbled" else [float(word) for word in line.split()] for line in lines]
