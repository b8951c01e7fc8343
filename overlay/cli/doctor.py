"""``overlay doctor``: is this machine ready?"""

from __future__ import annotations

import json

import click

from overlay.cli.show import console
from overlay.errors import SetupError


@click.command("doctor")
@click.option("--brief", is_flag=True, help="Only what is wrong.")
@click.option("--json", "as_json", is_flag=True, help="Print the checks as JSON.")
def command(brief: bool, as_json: bool) -> None:
    """Check the Python packages, the pose model, the video encoder, folders and memory."""
    from overlay.doctor import examine

    findings = examine()
    failed = [finding for finding in findings if finding.state == "fail"]
    if as_json:
        rows = [
            {"name": finding.name, "state": finding.state, "found": finding.found, "remedy": finding.remedy}
            for finding in findings
        ]
        click.echo(json.dumps({"schema": 1, "kind": "doctor", "ready": not failed, "checks": rows}, indent=2))
    else:
        out = console()
        marks = {"ok": "ok  ", "warn": "warn", "fail": "FAIL"}
        for finding in findings:
            if brief and finding.state == "ok":
                continue
            out.print(f"{marks[finding.state]}  {finding.name}: {finding.found}", markup=False)
            if finding.remedy:
                out.print(f"      {finding.remedy}", markup=False)
        if not failed:
            out.print("This machine is ready.", markup=False)
    if failed:
        raise SetupError(
            f"{len(failed)} check(s) failed: {', '.join(finding.name for finding in failed)}.",
            "Do what stands under each, then run `overlay doctor` again.",
        )
