"""What the deployment check says of the address that links in mail begin with, and where that address comes from."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.checks import run_checks
from django.test import override_settings

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("site", "more", "found"),
    [
        ("https://sneck.example.org", {}, []),
        ("http://sneck.example.org", {}, ["sneck.W002"]),
        ("http://localhost:8000", {}, ["sneck.W001"]),
        ("https://localhost", {}, ["sneck.W001"]),
        ("https://127.0.0.1:8000", {}, ["sneck.W001"]),
        ("https://[::1]", {}, ["sneck.W001"]),
        ("sneck.example.org", {}, ["sneck.W001"]),
        ("http://localhost:8000", {"DEBUG": True}, []),
        ("http://localhost:8000", {"SNECK_DEMO": True}, []),
    ],
)
def test_links_in_mail_have_to_lead_here_over_https(site, more, found):
    with override_settings(**({"DEBUG": False, "SNECK_DEMO": False, "SNECK_SITE": site} | more)):
        said = run_checks(include_deployment_checks=True)
    ours = [one for one in said if str(one.id).startswith("sneck.")]
    assert [one.id for one in ours] == found
    assert all("Set SNECK_SITE" in str(one.hint) for one in ours)


@pytest.mark.parametrize(
    ("given", "site"),
    [
        ({}, "http://localhost:8000"),
        ({"SNECK_HOSTS": "homes.example.org,www.example.org"}, "https://homes.example.org"),
        ({"SNECK_HOSTS": ".example.org,homes.example.org"}, "https://homes.example.org"),
        ({"SNECK_HOSTS": "*"}, "http://localhost:8000"),
        ({"SNECK_HOSTS": "homes.example.org", "SNECK_HTTPS": "0"}, "http://homes.example.org"),
        (
            {"SNECK_HOSTS": "homes.example.org", "SNECK_SITE": "https://x.example.org/"},
            "https://x.example.org",
        ),
    ],
)
def test_the_address_is_taken_from_the_first_host_unless_given(given, site):
    plain = {name: value for name, value in os.environ.items() if not name.startswith("SNECK_")}
    asked = [sys.executable, "-c", "from portfolio import settings; print(settings.SNECK_SITE)"]
    told = subprocess.run(asked, cwd=ROOT, env=plain | given, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == site
