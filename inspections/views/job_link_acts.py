"""What can be sent from the page behind a job's link, and the forms that stand on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest

from inspections.forms.jobs import DeclineForm, DoneForm, ProofForm, ProposeForm, SafeForm, WithdrawProofForm
from inspections.models import Job, JobLink
from inspections.selectors.job_parts import Line, Part, lines_in
from inspections.services import jobs as service
from inspections.services.job_mail import live_parts
from inspections.services.jobs import JobOver
from inspections.views.evidence import files_from
from portfolio.clock import Moment

OF_DEFECT = {"safe": SafeForm, "done": DoneForm, "proof": ProofForm, "withdraw": WithdrawProofForm}
OF_JOB = {"decline": DeclineForm, "propose": ProposeForm}
NOTHING = "This page sent nothing that could be understood. Load it again and press one of its buttons."


@dataclass(frozen=True)
class Done:
    """What was done, in words for the contractor, and where on the page to look next."""

    says: str
    anchor: str = ""


class Faulty(Exception):
    """A form was filled in wrongly; it is shown again with what is wrong."""

    def __init__(self, do: str, form: Form, defect: int | None = None) -> None:
        super().__init__(do)
        self.do, self.form, self.defect = do, form, defect


def act(request: HttpRequest, link: JobLink, moment: Moment) -> Done:
    """Do what was sent. Raises Faulty, NotAllowed, JobOver, ValidationError; nothing is kept then."""
    do = request.POST.get("do", "")
    by: dict[str, Any] = {"link": link, "moment": moment}
    job = link.job
    if do == "seen":
        service.job_seen(job.pk, **by)
        return Done("Thank you. The sender sees that you have read this.")
    if do == "accept":
        service.job_answer(job.pk, answer="accepted", **by)
        return Done("You took this job. Propose a day next.")
    if do in OF_JOB:
        return _of_job(do, request, link, by)
    if do in OF_DEFECT:
        return _of_defect(do, request, link, by)
    raise ValidationError(NOTHING)


def _of_job(do: str, request: HttpRequest, link: JobLink, by: dict[str, Any]) -> Done:
    form: Any = OF_JOB[do](request.POST, auto_id=f"{do}-%s")
    _valid(do, form)
    try:
        if do == "decline":
            service.job_answer(link.job_id, answer="declined", why=form.cleaned_data["why"], **by)
            return Done(f"You declined the job. {link.job.sent_by} is told.")
        service.job_propose_day(link.job_id, **form.proposed(), **by)
    except ValidationError as wrong:
        raise _with(do, form, wrong) from wrong
    return Done("The day is proposed. The sender is told, and you get an entry for your calendar by mail.")


def _of_defect(do: str, request: HttpRequest, link: JobLink, by: dict[str, Any]) -> Done:
    line = _line(request.POST.get("defect", ""), live_parts(link.job, by["moment"]))
    form: Any = (
        ProofForm(request.POST, request.FILES, line=line)
        if do == "proof"
        else OF_DEFECT[do](request.POST, line=line)
    )
    _valid(do, form, line)
    pk = line.defect.pk
    try:
        if do == "safe":
            service.job_made_safe(link.job_id, pk, **form.cleaned_data, **by)
            says = f"Recorded as made safe for now: {line.title}. It still has to be mended."
        elif do == "done":
            service.job_claim_done(link.job_id, pk, **form.cleaned_data, **by)
            says = (
                f"Recorded as done: {line.title}. Send what must come back; then a second person looks at it."
            )
        elif do == "withdraw":
            said = form.cleaned_data
            piece = service.job_proof_withdraw(link.job_id, int(said["piece"]), why=said["why"], **by)
            says = f"Withdrawn: {piece}. It stays on record, with your reason."
        else:
            brought = form.brought()
            del brought["stage"]
            files = files_from(request, "uploads", "photo")
            pieces = service.job_proof_add(link.job_id, pk, accepted=files, **brought, **by)
            says = f"Kept: {len(pieces)} piece{'' if len(pieces) == 1 else 's'} of proof for {line.title}."
    except ValidationError as wrong:
        raise _with(do, form, wrong, line) from wrong
    return Done(says, f"#defect-{pk}")


def _line(number: str, parts: Sequence[Part]) -> Line:
    for line in lines_in(parts):
        if str(line.defect.pk) == number:
            return line
    raise JobOver("This defect is no longer in your job: it is confirmed or taken back.")


def _valid(do: str, form: Form, line: Line | None = None) -> None:
    if not form.is_valid():
        raise Faulty(do, form, line.defect.pk if line else None)


def _with(do: str, form: Form, wrong: ValidationError, line: Line | None = None) -> Faulty:
    """The form with each fault at its field, or above all where it has no such field."""
    told = wrong.message_dict if hasattr(wrong, "error_dict") else {"__all__": wrong.messages}
    for name, faults in told.items():
        form.add_error(name if name in form.fields else None, faults)
    return Faulty(do, form, line.defect.pk if line else None)


def whole_forms(job: Job, faulty: Faulty | None) -> dict[str, Any]:
    """The forms about the job as a whole, by name."""
    hours = {
        name: f"{at:%H:%M}" for name, at in (("start", job.proposed_from), ("end", job.proposed_to)) if at
    }
    made = {
        "decline": DeclineForm(auto_id="decline-%s"),
        "propose": ProposeForm(auto_id="propose-%s", initial={"day": job.proposed, **hours}),
    }
    if faulty and faulty.do in made:
        made[faulty.do] = faulty.form
    return {**made, "faulty": faulty.do if faulty else ""}


def cards(
    parts: Sequence[Part], faulty: Faulty | None, moment: Moment
) -> list[tuple[Part, list[dict[str, Any]]]]:
    """Each home with its defects and the forms about each."""
    return [(part, [_card(line, faulty, moment) for line in part.lines]) for part in parts]


def _card(line: Line, faulty: Faulty | None, moment: Moment) -> dict[str, Any]:
    made: dict[str, Any] = {
        "line": line,
        "safe": SafeForm(line=line, initial={"on": moment.day}),
        "done": DoneForm(line=line, initial={"on": moment.day}),
        "proof": ProofForm(line=line),
        "withdraw": WithdrawProofForm(line=line),
        "faulty": "",
    }
    if faulty and faulty.defect == line.defect.pk:
        made |= {faulty.do: faulty.form, "faulty": faulty.do}
    return made
