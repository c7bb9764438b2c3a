"""Start the program with an invented fleet."""

import tomllib
from argparse import ArgumentParser
from typing import Any

import waitress
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application

from registry.people.pure import Role
from servicing.demo.actions import DemoPerson, NotTheDemo, demo_day, is_demo, make_demo
from servicing.demo.pure import demo_fleet
from servicing.demo.pure.consignments import trips
from servicing.oversight.actions import begin_serving


class Command(BaseCommand):
    help = (
        "Make the embedded database if there is none, load the rule tables and an invented "
        "fleet, and serve on this machine only.\nExample: manage.py demo --port 8080"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop before serving")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *, no_serve: bool, port: int, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        accounts = _demo_file("accounts.toml")["account"]
        people = [DemoPerson(**{**row, "role": Role(row["role"])}) for row in accounts]
        try:
            made = is_demo()
        except NotTheDemo as problem:
            raise CommandError(str(problem)) from problem
        call_command("load_rules", stdout=self.stdout)
        call_command("load_procedures", stdout=self.stdout)
        if not made:
            self.stdout.write("Making the fleet of Tarn Valley and ten years of its history ...")
            on = demo_day()
            away = trips(_demo_file("consignments.toml")["consignment"], on)
            make_demo(demo_fleet(_demo_file("valley.toml"), on), people, away)
        for person in people:
            self.stdout.write(f"  {person.role}: {person.username}, password {person.password}")
        if no_serve:
            self.stdout.write("The demo is ready; manage.py demo serves it.")
            return
        self._serve(port)

    def _serve(self, port: int) -> None:
        """Serve on loopback; the demo's passwords are public, so never elsewhere."""
        if reason := begin_serving():
            raise CommandError(f"Neckring does not serve: {reason}.")
        try:
            server = waitress.create_server(
                get_wsgi_application(), host="127.0.0.1", port=port, threads=4
            )
        except OSError as error:
            raise CommandError(
                f"port {port} can't be used ({error.strerror}); try --port {port + 1}", returncode=2
            ) from error
        self.stdout.write(f"Neckring answers at http://127.0.0.1:{port}/ (stop it with Ctrl-C)")
        self.stdout.flush()
        server.run()


def _demo_file(name: str) -> dict[str, Any]:
    with (settings.BASE_DIR / "fixtures" / "demo" / name).open("rb") as file:
        return tomllib.load(file)
