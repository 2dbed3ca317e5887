"""Sending a job, taking it back, finding one; and what a contractor says by its link."""

from datetime import time
from typing import Any

from django import forms

from inspections.forms.evidence import EvidenceForm
from inspections.models import Contractor
from inspections.selectors.job_parts import Line, usual_work, works_fitting
from inspections.selectors.jobs import STATES
from portfolio.clock import LONDON
from portfolio.filters import date_input
from portfolio.forms.fields import Day, TimeOfDay, Words


def words(rows: int = 2) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class SendForm(forms.Form):
    contractor = forms.ModelChoiceField(
        label="Contractor",
        queryset=Contractor.objects.none(),
        widget=forms.RadioSelect,
        empty_label=None,
        error_messages={
            "required": "Choose a contractor.",
            "invalid_choice": "Choose one of the contractors that may be sent this.",
        },
    )
    access_notes = Words(
        label="How to get in",
        required=False,
        max_length=2000,
        widget=words(3),
        help_text="Keys, whom to ring, dogs, parking. The contractor reads this as it stands.",
    )

    def __init__(self, *args: Any, contractors: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["contractor"].queryset = contractors  # type: ignore[attr-defined]


class ReasonForm(forms.Form):
    why = Words(
        label="Why?",
        max_length=1000,
        widget=words(),
        error_messages={"required": "Say why: the reason is kept."},
    )


class TakeBackForm(ReasonForm):
    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["why"].label = "Why is it taken back?"
        self.fields["why"].help_text = "The contractor is told this, and it is kept in the record."


class FindJobs(forms.Form):
    """Narrows the list of jobs."""

    contractor = forms.ModelChoiceField(
        label="Contractor",
        queryset=Contractor.objects.none(),
        required=False,
        empty_label="Every contractor",
    )
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[("open", "Not closed"), ("late", "Late"), ("all", "All"), *STATES.items()],
    )

    def __init__(self, *args: Any, contractors: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["contractor"].queryset = contractors  # type: ignore[attr-defined]


class DeclineForm(ReasonForm):
    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["why"].label = "Why do you decline?"
        self.fields["why"].help_text = "The sender reads this and looks for somebody else."


class ProposeForm(forms.Form):
    day = Day(label="Day", widget=date_input(), error_messages={"required": "Choose a day."})
    start = TimeOfDay(label="From", help_text="Such as 9:00. May be left empty.")
    end = TimeOfDay(label="To")

    def proposed(self) -> dict[str, Any]:
        """The arguments of `job_propose_day`."""
        said = self.cleaned_data
        hours = {name: time.fromisoformat(said[name]) if said[name] else None for name in ("start", "end")}
        return {"day": said["day"], **hours}


class _OfDefect(forms.Form):
    """A form that stands on the page once for each defect."""

    def __init__(self, data: Any = None, files: Any = None, *, line: Line, **more: Any) -> None:
        super().__init__(data, files, auto_id=f"d{line.defect.pk}-%s", **more)


class SafeForm(_OfDefect):
    on = Day(label="Made safe on", widget=date_input(), error_messages={"required": "Say on which day."})
    how = Words(
        label="How was it made safe?",
        max_length=1000,
        widget=words(),
        help_text="Isolated, covered, capped, taken out of use. It still has to be mended.",
        error_messages={"required": "Say how it was made safe: isolated, covered, capped, out of use."},
    )


class DoneForm(_OfDefect):
    on = Day(label="Work done on", widget=date_input(), error_messages={"required": "Say on which day."})
    work = forms.ChoiceField(
        label="Kind of work",
        help_text="On it depends which paper has to come back.",
        error_messages={"required": "Say what kind of work was done."},
    )

    def __init__(self, data: Any = None, *, line: Line, **more: Any) -> None:
        more["initial"] = {"work": usual_work(line.defect), **more.get("initial", {})}
        super().__init__(data, line=line, **more)
        self.fields["work"].choices = [("", "Choose"), *works_fitting(line.defect)]  # type: ignore[attr-defined]


class WithdrawProofForm(_OfDefect):
    """One of the pieces that the contractor brought for a defect."""

    piece = forms.ChoiceField(
        label="What is withdrawn?",
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose what is withdrawn.",
            "invalid_choice": "This is not among what you sent, or is withdrawn already. Load the page again.",
        },
    )
    why = Words(
        label="Why?",
        max_length=1000,
        widget=words(),
        help_text="The sender reads this. What was withdrawn stays on record.",
        error_messages={"required": "Say why it is withdrawn: the reason is kept."},
    )

    def __init__(self, data: Any = None, *, line: Line, **more: Any) -> None:
        super().__init__(data, line=line, **more)
        self.fields["piece"].choices = [(one.evidence.pk, brought(one.evidence)) for one in line.after]  # type: ignore[attr-defined]


def brought(evidence: Any) -> str:
    """A piece in words: what it is, and when it came."""
    return f"{evidence}, {evidence.added_at.astimezone(LONDON):%-d %b %Y, %H:%M}"


class ProofForm(EvidenceForm):
    """Evidence of the state after the work: a contractor brings no other."""

    stage = None  # type: ignore[assignment]

    def __init__(self, data: Any = None, files: Any = None, *, line: Line, **more: Any) -> None:
        super().__init__(data, files, auto_id=f"d{line.defect.pk}-proof-%s", **more)

    def clean(self) -> dict[str, Any]:
        return {**super().clean(), "stage": "after"}
