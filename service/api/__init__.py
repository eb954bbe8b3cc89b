"""The routes under /v1, one thin module a resource."""

from fastapi import APIRouter

from . import jobs, poses, profiles, readouts, records

ROUTERS: tuple[APIRouter, ...] = (
    poses.router,
    profiles.router,
    jobs.router,
    records.router,
    readouts.router,
)
