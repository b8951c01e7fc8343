"""The doctor names what is missing and the line that mends it."""

from __future__ import annotations

import importlib.metadata

import pytest

from overlay import doctor


def test_this_machine_passes() -> None:
    findings = doctor.examine()
    failed = [finding for finding in findings if finding.state == "fail"]
    assert failed == []
    assert {"Python", "One OpenCV", "Pose model", "H.264 encoder", "Cache folder"} <= {f.name for f in findings}


def test_two_opencv_variants_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.metadata, "version", lambda name: "4.10")
    finding = doctor._one_opencv()
    assert finding.state == "fail"
    assert "pip uninstall" in finding.remedy


def test_a_missing_package_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> str:
        raise importlib.metadata.PackageNotFoundError(name)

    monkeypatch.setattr(importlib.metadata, "version", missing)
    assert all(finding.state == "fail" and "pip install" in finding.remedy for finding in doctor._packages())


def test_a_missing_system_library_names_its_package() -> None:
    message = "ImportError: libGL.so.1: cannot open shared object file: No such file or directory"
    assert doctor.missing_library(message) == "Debian/Ubuntu: sudo apt-get install libgl1"
    assert "apt-file search libodd.so.3" in doctor.missing_library("libodd.so.3: cannot open shared object file")
    assert doctor.missing_library("no module named x") == ""


def test_an_unwritable_cache_fails(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "file" / "cache"))
    cache = next(finding for finding in doctor._folders() if finding.name == "Cache folder")
    assert cache.state == "fail"
    assert "OVERLAY_CACHE_DIR" in cache.remedy
