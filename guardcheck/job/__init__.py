"""The job file: TOML in, `guardcheck.model.Job` out, every complaint with file, line and key.

`read_job` reads a file, `parse_job` a text; `new_job_text` gives a technician one to fill in.
The keys are rows in `keys`; a new key is a new row there and a line in ``new_job.toml``.
"""

from guardcheck.job.asking import Answers, Heard, Question, asking, heard, job_text, next_question, questions
from guardcheck.job.new import family_job_text, family_names, new_job_text
from guardcheck.job.reader import parse_job, read_job

__all__ = [
    "Answers",
    "Heard",
    "Question",
    "asking",
    "family_job_text",
    "family_names",
    "heard",
    "job_text",
    "new_job_text",
    "next_question",
    "parse_job",
    "questions",
    "read_job",
]
