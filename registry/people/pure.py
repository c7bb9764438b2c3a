"""The three roles."""

from enum import StrEnum


class Role(StrEnum):
    """What somebody may do; the name is the group's. Those with more rights come first.

    manager: everything a technician may, and sites and rule tables. technician: enter
    services, register and edit items. auditor: read and print.
    """

    MANAGER = "manager"
    TECHNICIAN = "technician"
    AUDITOR = "auditor"
