"""What a password must not be."""

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from registry.people.pure import FEWEST_OWN, guessable
from registry.sites.models import Site


class NotEasyToGuess:
    """Refuses a password made of words that are tried first, the fleet's own among them.

    For AUTH_PASSWORD_VALIDATORS. NIST SP 800-63B-4, 3.1.1.2: a list of words, the
    program's and the place's names included; no rules about which signs are in it.
    """

    def validate(self, password: str, user: User | None = None) -> None:
        sites = [text for pair in Site.objects.values_list("code", "name") for text in pair]
        own = [user.username, user.first_name, user.last_name] if user else []
        if word := guessable(password, [*sites, *own]):
            raise ValidationError(
                f"The password is easy to guess: besides \u201c{word}\u201d and the like it has "
                f"fewer than {FEWEST_OWN} characters of its own. A few unrelated words make a "
                "good one."
            )

    def get_help_text(self) -> str:
        return "A few unrelated words make a good password; spaces are welcome."
