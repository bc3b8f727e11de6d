"""Holds a served ward to the description of its API that it serves itself, by a contract fuzzer.

    contract.py PROGRAM DECK.toml [EXAMPLES]

Everything is asked with an administrator's account, of beds and patients that mostly are not there, and with a nurse's, of one
that is; with values that fit the description and with values that
do not. Left out: streams, which do not end, and what would end the fuzzer's own session or change its password.
"""
import os
import pathlib
import subprocess
import sys
import tempfile

from served import PATIENT, Ward

LEFT_OUT = r"/live$|^/api/session|^/api/password$|^/api/accounts"
CHECKS = "not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance,unsupported_method"


def main(program, deck, examples="15"):
    fuzzer = os.path.join(os.path.dirname(sys.executable), "schemathesis")
    with tempfile.TemporaryDirectory() as folder, Ward(program, deck, folder, 1) as ward:
        for role, token in (("administrator", ward.administrator), ("nurse", ward.nurse)):
            print(f"as {role}", flush=True)
            if role == "nurse":
                # Of a bed and a patient that are there; before, of any.
                pathlib.Path(folder, "schemathesis.toml").write_text(f'[parameters]\n"path.bed" = "A1"\n"path.patient" = "{PATIENT}"\n')
            # Slower than the ward's own limit, so that requests reach what is tried.
            done = subprocess.run([
                fuzzer, "run", ward.url + "/api/openapi.json", "--header", "Authorization: Bearer " + token,
                "--exclude-path-regex", LEFT_OUT, "--checks", CHECKS, "--max-examples", examples, "--seed", "20261128",
                "--phases", "examples,coverage,fuzzing", "--rate-limit", "40/s", "--continue-on-failure", "--no-color"],
                cwd=folder, stdout=subprocess.PIPE, text=True)
            print(done.stdout, flush=True)
            if done.returncode:
                sys.exit(done.returncode)
            # A session that ended on the way would prove nothing.
            assert "401 Unauthorized" not in done.stdout, "most was refused before it was tried"
        assert ward.process.poll() is None, "the ward ended"


if __name__ == "__main__":
    main(*sys.argv[1:])
