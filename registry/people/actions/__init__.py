"""Every write about people: accounts, authorisations, proofs of presence, tries to sign in."""

from registry.people.actions.accounts import add_person, make_roles

__all__ = ["add_person", "make_roles"]
