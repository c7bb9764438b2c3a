"""Start the program with an invented fleet."""

import tomllib
from argparse import ArgumentParser
from typing import Any

import waitress
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application

from registry.management import console
from registry.people.pure import Role
from servicing.demo.actions.fleet import DemoPerson, make_demo
from servicing.demo.pure import demo_fleet
from servicing.demo.pure.consignments import trips
from servicing.demo.queries import NotTheDemo, demo_day, is_demo
from servicing.oversight.actions import begin_serving


class Command(BaseCommand):
    help = (
        "Make the embedded database if there is none, load the rule tables and an invented "
        "fleet, and serve on this machine only.\nExample: %(prog)s --port 8080"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop before serving")
        parser.add_argument("--port", type=console.whole(1, 65535), default=8000)

    def handle(self, *, no_serve: bool, port: int, **options: Any) -> None:
        self._say("Neckring's demo. Preparing the database ...")
        call_command("migrate", verbosity=0)
        accounts = _demo_file("accounts.toml")["account"]
        people = [DemoPerson(**{**row, "role": Role(row["role"])}) for row in accounts]
        try:
            made = is_demo()
        except NotTheDemo as problem:
            raise CommandError(str(problem)) from problem
        self._say("Loading the rule tables and the procedures ...")
        call_command("load_rules", stdout=self.stdout)
        call_command("load_procedures", stdout=self.stdout)
        if not made:
            self._say("Making the fleet of Tarn Valley and ten years of its history ...")
            on = demo_day()
            away = trips(_demo_file("consignments.toml")["consignment"], on)
            fleet = demo_fleet(_demo_file("valley.toml"), on)
            make_demo(fleet, people, away, console.progress_on(self.stdout))
        for person in people:
            self.stdout.write(f"  {person.role}: {person.username}, password {person.password}")
        if no_serve:
            self.stdout.write(f"The demo is ready; {settings.PROGRAM} demo serves it.")
            return
        self._serve(port)

    def _say(self, text: str) -> None:
        """Write what is done next, at once, however the output is kept."""
        self.stdout.write(text)
        self.stdout.flush()

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
        address = f"http://127.0.0.1:{port}{settings.PATH_PREFIX}/"
        self._say(f"Neckring answers at {address} (stop it with Ctrl-C)")
        server.run()


def _demo_file(name: str) -> dict[str, Any]:
    with (settings.BASE_DIR / "fixtures" / "demo" / name).open("rb") as file:
        return tomllib.load(file)
