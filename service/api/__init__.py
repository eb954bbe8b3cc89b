"""The routes under /v1, one thin module a resource."""

from fastapi import APIRouter

from . import (
    columns,
    corrections,
    fitting,
    fitting_zero,
    holders,
    jobs,
    live,
    passes,
    placements,
    poses,
    profiles,
    readouts,
    records,
    sensitivities,
    sensors,
    sessions,
)

ROUTERS: tuple[APIRouter, ...] = (
    poses.router,
    columns.router,
    sensitivities.router,
    placements.router,
    passes.router,
    corrections.router,
    profiles.router,
    jobs.router,
    records.router,
    readouts.router,
    live.router,
    sensors.router,
    fitting.router,
    fitting_zero.router,
    sessions.router,
    holders.router,
)
