"""The guided start as one page: the questions of the terminal, what each answer means, and the job file to save.

The page carries the questions, the sentences and the pieces of the job file as data and interprets them as
`guardcheck.job.asking` does. It needs no network, no server and no guardcheck; its one script is named by its hash.
"""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from importlib import resources

from guardcheck.job import asking, questions
from guardcheck.report.handover.strings import DEFAULT, words
from guardcheck.report.page.result import environment

_MESSAGES = ("saved", "wrong", "wrong_one", "not_a_value", "another", "counted")


def to_questions_page(file: str, *, language: str = DEFAULT) -> str:
    """Return the questions as one HTML page that saves the job file. Same questions, same bytes.

    Parameters
    ----------
    file : the name the job file is saved under
    language : a language there are strings for; `InputError` for another

    """
    from markupsafe import Markup

    say = words(language)
    script = resources.files("guardcheck.report").joinpath("asking/questions.js").read_text(encoding="utf-8")
    return str(
        environment()
        .get_template("asking/questions.html")
        .render(
            say=say,
            file=file,
            questions=questions(),
            asking=asking(),
            messages={name: say(f"ask.{name}") for name in _MESSAGES},
            script=Markup(script),  # our own file: its hash is what the page allows to run
            script_hash=b64encode(sha256(script.encode()).digest()).decode(),
        )
    )
