"""The routes under /v1, one thin module a resource."""

from fastapi import APIRouter

from . import (
    columns,
    corrections,
    error_budgets,
    fitting,
    fitting_zero,
    holders,
    jobs,
    live,
    passes,
    placements,
    profiles,
    readouts,
    records,
    sensitivities,
    sensors,
    sessions,
    uncertainties,
)

ROUTERS: tuple[APIRouter, ...] = (
    columns.router,
    sensitivities.router,
    placements.router,
    passes.router,
    corrections.router,
    error_budgets.router,
    profiles.router,
    jobs.router,
    records.router,
    readouts.router,
    uncertainties.router,
    live.router,
    sensors.router,
    fitting.router,
    fitting_zero.router,
    sessions.router,
    holders.router,
)
