"""begin --schema prints what editors complete with."""

import json
import os
import subprocess
import sys

from jsonschema import Draft202012Validator


def begin(*arguments: str) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "-m", "staddle", "begin", *arguments]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env={**os.environ, "NO_COLOR": "1"}
    )


def test_the_schema_is_printed_alone_and_is_a_schema() -> None:
    done = begin("--schema")
    assert (done.returncode, done.stderr) == (0, "")
    schema = json.loads(done.stdout)
    Draft202012Validator.check_schema(
        schema
    )  # JSON Schema 2020-12's own meta-schema, from the jsonschema package
    assert {"job", "package", "members", "networks", "windows"} <= schema["properties"].keys()


def test_no_folder_is_wrong_usage() -> None:
    done = begin()
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "error: no folder was named\n  try:   staddle begin FOLDER\n"
