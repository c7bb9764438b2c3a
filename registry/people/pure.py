"""The three roles."""

from enum import StrEnum

DEMO_PREFIX = "demo-"
"""How the names of the demo's accounts begin; nobody else may take such a name."""


class Role(StrEnum):
    """What somebody may do; the name is the group's. Those with more rights come first.

    manager: everything a technician may, and sites and rule tables. technician: enter
    services, register and edit items. auditor: read and print.
    """

    MANAGER = "manager"
    TECHNICIAN = "technician"
    AUDITOR = "auditor"
