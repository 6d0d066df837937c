"""Forms about those who may authorize: who they are, what is known, what they said."""

from datetime import date, datetime
from typing import Any

from django import forms

from cases import lapses, right, right_words, seen, settling
from cases.authority import BY_INSTRUMENT, DELEGATE, EXCLUSIONS
from cases.drawing import DrawingUnfit, Stroke, read_strokes
from cases.forms.base import SignedForm, WritingForm
from cases.forms.fields import LocalMomentField
from cases.forms.holds import PaperField
from cases.forms.seen import SeenForm
from cases.forms.side import day
from cases.forms.steps import lines, text, yes
from cases.law.shape import REQUESTS
from cases.models import NAME_LENGTH, AuthorizingAgent, Case, Document, HolderFacts, RightHolder
from cases.names import fold
from cases.right_acts import Complete, Known, Named
from crematory import clock

Position = AuthorizingAgent.Position
Form = AuthorizingAgent.Form
SAYS_NOTHING = ""
FORMS = [
    (Form.PAPER, "on paper"),
    (Form.TABLET, "on this tablet"),
    (Form.ELECTRONIC, "electronically"),
]
# Why a paper settles no objection, beside the paper.
SETTLES_NOT = {
    "paper_unfit": "does not settle it: a version of the objection itself",
    "paper_settles_nothing": "does not settle it: no order, agreement or withdrawal",
    "paper_before": "does not settle it: on file before the objection",
}
EFFORTS = (1, 2)  # two a form; what was recorded before stays


class HolderField(forms.ModelChoiceField):
    """Somebody who is named in this case."""

    def label_from_instance(self, obj: RightHolder) -> str:
        return f"{obj.name} ({obj.relationship})"


def _three(label: str, **kwargs: Any) -> forms.TypedChoiceField:
    """Yes, no, or not answered."""
    return forms.TypedChoiceField(
        label=label,
        choices=[("", "not answered"), ("True", "yes"), ("False", "no")],
        coerce=lambda value: value == "True",
        empty_value=None,
        required=False,
        **kwargs,
    )


def papers(case: Case) -> Any:
    """Return the papers of a case that no later version replaces."""
    return case.documents.filter(replaced_by__isnull=True)


class KnownFields(forms.Form):
    """What is known of a person; the form that takes it over has `case` and `facility`."""

    is_living = _three("Is living")
    is_minor = _three("Is under age")
    is_of_sound_mind = _three("Is of sound mind")
    is_reachable = _three("Can be reached")
    told_of_death_on = day("Had notice of the death on", required=False)
    effort1_on = day("Effort to give notice: day", required=False)
    effort1_how = text("How", 200, required=False)
    effort2_on = day("Another effort: day", required=False)
    effort2_how = text("How", 200, required=False)
    excluded = forms.MultipleChoiceField(
        label="This person",
        choices=list(EXCLUSIONS.items()),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    has_instrument = _three("The paper or order that gives the right is on file")
    instrument = PaperField(
        Document.objects.none(), label="Which paper", required=False, empty_label="none chosen"
    )

    def efforts(self) -> tuple[tuple[date, str], ...]:
        """Return the efforts written here."""
        data = self.cleaned_data
        pairs = [(data.get(f"effort{n}_on"), data.get(f"effort{n}_how")) for n in EFFORTS]
        return tuple((on, how) for on, how in pairs if on and how)

    def check_known(self, data: dict[str, Any]) -> None:
        """Ask for the half that is missing, and let a chosen paper say that there is one."""
        for n in EFFORTS:
            on, how = data.get(f"effort{n}_on"), data.get(f"effort{n}_how")
            if bool(on) != bool(how) and not self.errors.get(f"effort{n}_on"):
                self.add_error(f"effort{n}_{'how' if on else 'on'}", "Write the day and the way.")
        if data.get("instrument") and data.get("has_instrument") is None:
            data["has_instrument"] = True
        if bool(data.get("instrument")) != bool(data.get("has_instrument")):
            self.add_error("instrument", "Choose the paper, and say that it is on file.")

    def known(self, informant: str, earlier: tuple[tuple[date, str], ...] = ()) -> Known | None:
        """Return what is stated, or None where nothing is."""
        data = self.cleaned_data
        known = Known(
            informant=informant,
            is_living=data["is_living"],
            is_minor=data["is_minor"],
            is_of_sound_mind=data["is_of_sound_mind"],
            is_reachable=data["is_reachable"],
            told_of_death_on=data.get("told_of_death_on"),
            efforts=(*earlier, *self.efforts()),
            excluded=frozenset(data["excluded"]),
            has_instrument=data["has_instrument"],
            instrument=data["instrument"],
        )
        return None if known == Known(informant=informant) else known


class SaidFields(forms.Form):
    """What a person says of the authorization, and how a signature came."""

    way = forms.ChoiceField(label="Signed", choices=FORMS, required=False, widget=forms.RadioSelect)
    how = text(
        "How it came",
        200,
        initial="in person",
        widget=forms.TextInput(attrs={"list": "ways-it-came"}),
    )
    said_at = LocalMomentField(
        label="When it was signed or said", required=False, help_text="Left empty, it means now."
    )
    document = PaperField(
        Document.objects.none(),
        label="The paper that was signed or sent",
        required=False,
        empty_label="none, or not on file yet",
    )
    strokes = forms.CharField(
        label="The signature", required=False, widget=forms.HiddenInput, max_length=600_000
    )

    def clean_strokes(self) -> list[Stroke]:
        try:
            return read_strokes(self.cleaned_data["strokes"])
        except DrawingUnfit as error:
            raise forms.ValidationError(str(error)) from error

    def check_said(self, data: dict[str, Any]) -> None:
        """A signature has a form; one on the tablet has a drawing; nothing lies in the future."""
        if data.get("said_at") and data["said_at"] > clock.now():
            self.add_error("said_at", "The time lies in the future. Correct it.")
        if data.get("position") != Position.SIGNED:
            return
        data["way"] = data.get("way") or Form.PAPER
        is_drawn = bool(data.get("strokes"))
        if data["way"] == Form.TABLET and not is_drawn and "strokes" not in self.errors:
            self.add_error("way", "Nothing is drawn. Sign in the field, or on paper.")

    @property
    def said_when(self) -> datetime:
        """When it was signed or said; the form must be valid."""
        at: datetime | None = self.cleaned_data["said_at"]
        return at or clock.now()


def _offer_papers(form: forms.Form, case: Case) -> None:
    for name in ("document", "instrument"):
        field = form.fields.get(name)
        if isinstance(field, PaperField):
            field.queryset = papers(case)


class NameForm(KnownFields, SaidFields, WritingForm):
    """A person with a say, what is known of them and what they say, in one go.

    Somebody at the counter who signs needs a name, a relationship, and whether anybody goes
    before them.
    """

    name = text("Name", NAME_LENGTH, widget=forms.TextInput(attrs={"autofocus": True}))
    relation = forms.ChoiceField(label="Relationship to the person who died")
    position = forms.ChoiceField(
        label="This person",
        choices=[
            (Position.SIGNED, "signs the authorization"),
            (Position.OBJECTS, "objects"),
            (SAYS_NOTHING, "has said nothing yet"),
        ],
        initial=Position.SIGNED,
        required=False,
        widget=forms.RadioSelect,
    )
    nobody_before = yes("Nobody who goes before this person is missing here")
    whole_class = yes("Nobody of the same class is missing here")
    receives = yes("Receives the cremated remains, too")
    informant = text(
        "Who says so", 200, required=False, help_text="Left empty, it is the person named here."
    )
    relationship = text(
        "Relationship in other words", 100, required=False, help_text="Where none above fits."
    )
    person = HolderField(
        RightHolder.objects.none(),
        label="Is the same person as",
        required=False,
        empty_label="nobody named before",
        help_text="For somebody who belongs to two classes.",
    )

    def __init__(
        self, *args: Any, case: Case, may_name_recipient: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.case = case
        if not may_name_recipient:
            del self.fields["receives"]
        relation, person = self.fields["relation"], self.fields["person"]
        assert isinstance(relation, forms.ChoiceField)
        assert isinstance(person, HolderField)
        relation.choices = relations(case)
        self.initial.setdefault("way", Form.PAPER)
        _offer_papers(self, case)
        _ask_notice(self, case)
        person.queryset = case.right_holders.all()
        requests = [paper for paper in papers(case) if paper.kind in REQUESTS]
        if len(requests) == 1:
            self.initial.setdefault("document", requests[0].pk)
        if not case.right_holders.all():
            del self.fields["person"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self.check_known(data)
        self.check_said(data)
        if len(fold(data.get("name", ""))) > 2 * NAME_LENGTH:
            self.add_error("name", "This name is too long when it is written out. Shorten it.")
        return data

    @property
    def rank(self) -> str:
        """The class of the person."""
        return str(self.cleaned_data["relation"]).partition("/")[0]

    def named(self) -> Named:
        """Return who is named; the form must be valid."""
        data = self.cleaned_data
        same = data.get("person")
        return Named(
            name=data["name"],
            rank=self.rank,
            relationship=data["relationship"] or data["relation"].partition("/")[2],
            person=same.person if same else None,
        )

    def recipient(self) -> dict[str, str] | None:
        """Return the same person as one who receives the remains, unless named so before."""
        named = self.named()
        known = {fold(recipient.name) for recipient in self.case.recipients.all()}
        if not self.cleaned_data.get("receives") or fold(named.name) in known:
            return None
        return {"name": named.name, "relationship": named.relationship}

    @property
    def told_by(self) -> str:
        """Who says what is stated here."""
        return self.cleaned_data["informant"] or self.cleaned_data["name"][:200]

    def complete(self) -> Complete | None:
        """Return of which classes nobody is missing, so far as nobody had said so yet."""
        order = right_words.before(self.case.law, self.rank)
        keys = list(order) if self.cleaned_data["nobody_before"] else []
        if self.cleaned_data["whole_class"] and self.rank != DELEGATE:
            keys.append(self.rank)
        new = [key for key in keys if key not in right.ranks_named(self.case)]
        return Complete(ranks=dict.fromkeys(new, True), informant=self.told_by) if new else None


def relations(case: Case) -> list[Any]:
    """The relationships by class, the classes in the order of the jurisdiction."""
    groups: list[Any] = [("", "---------")]
    for key in right_words.in_order(case.law):
        words = right_words.RELATIONSHIPS[key]
        title = right_words.class_title(key)
        groups.append((title.capitalize(), [(f"{key}/{word}", word) for word in words]))
    return groups


class KnownForm(KnownFields, SeenForm):
    """What is known of somebody named; it replaces what was stated before, but for efforts."""

    informant = text("Who says so", 200)
    forget_efforts = yes("The efforts recorded before are wrong: leave them out")
    delegated_to = HolderField(
        RightHolder.objects.none(),
        label="Delegated the right to",
        required=False,
        empty_label="nobody",
        help_text="Name the delegate first.",
    )
    delegated_at = LocalMomentField(label="Delegated at", required=False)
    delegated_in_writing = yes("The delegation is in writing")

    def __init__(self, *args: Any, holder: RightHolder, **kwargs: Any) -> None:
        super().__init__(*args, facility=holder.case.facility, **kwargs)
        then = self.show(seen.of_known(holder))
        self.holder, self.newest = holder, then[-1] if then else None
        for name, value in _shown(self.newest).items():
            self.initial.setdefault(name, value)
        _offer_papers(self, holder.case)
        _ask_notice(self, holder.case)
        to = self.fields["delegated_to"]
        assert isinstance(to, HolderField)
        to.queryset = holder.case.right_holders.exclude(person=holder.person)
        if holder.rank not in BY_INSTRUMENT:
            del self.fields["has_instrument"], self.fields["instrument"]
        if not self.earlier:
            del self.fields["forget_efforts"]

    @property
    def earlier(self) -> tuple[tuple[date, str], ...]:
        """The efforts recorded before."""
        rows = self.newest.efforts if self.newest else []
        return tuple((date.fromisoformat(row["on"]), row["how"]) for row in rows)

    def clean(self) -> dict[str, Any]:
        data = {"has_instrument": None, "instrument": None} | (super().clean() or {})
        self.check_known(data)
        if bool(data.get("delegated_to")) != bool(data.get("delegated_at")):
            missing = "delegated_at" if data.get("delegated_to") else "delegated_to"
            if missing not in self.errors:
                self.add_error(missing, "Write to whom and when it was delegated.")
        return data

    def stated_known(self) -> Known:
        """Return all that is stated; the form must be valid."""
        data = self.cleaned_data
        kept = () if data.get("forget_efforts") else self.earlier
        return Known(
            informant=data["informant"],
            is_living=data["is_living"],
            is_minor=data["is_minor"],
            is_of_sound_mind=data["is_of_sound_mind"],
            is_reachable=data["is_reachable"],
            told_of_death_on=data.get("told_of_death_on"),
            efforts=(*kept, *self.efforts()),
            excluded=frozenset(data["excluded"]),
            has_instrument=data["has_instrument"],
            instrument=data["instrument"],
            delegated_to=data["delegated_to"],
            delegated_at=data["delegated_at"],
            delegated_in_writing=data["delegated_in_writing"],
        )


def _ask_notice(form: KnownFields, case: Case) -> None:
    """The day of notice is asked only where a right lapses by it."""
    if lapses.rule_of(case) is None:
        del form.fields["told_of_death_on"]


def _shown(known: HolderFacts | None) -> dict[str, Any]:
    names = (
        "is_living", "is_minor", "is_of_sound_mind", "is_reachable", "told_of_death_on", "excluded",
        "has_instrument",
        "instrument", "delegated_to", "delegated_at", "delegated_in_writing",
    )  # fmt: skip
    return {name: getattr(known, name) for name in names} if known else {}


class SayForm(SaidFields, WritingForm):
    """What somebody named says now."""

    position = forms.ChoiceField(label="This person", widget=forms.RadioSelect)
    by_delegate = HolderField(
        RightHolder.objects.none(),
        label="Signed by somebody else in this person's place",
        required=False,
        empty_label="no, by their own hand",
    )

    def __init__(
        self, *args: Any, holder: RightHolder, may_settle: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, facility=holder.case.facility, **kwargs)
        position, delegate = self.fields["position"], self.fields["by_delegate"]
        assert isinstance(position, forms.ChoiceField)
        assert isinstance(delegate, HolderField)
        position.choices = positions(holder, may_settle=may_settle)
        self.initial.setdefault("way", Form.PAPER)
        if len(position.choices) == 1:
            self.initial.setdefault("position", position.choices[0][0])
        delegate.queryset = holder.case.right_holders.exclude(person=holder.person)
        _offer_papers(self, holder.case)
        if Position.SETTLED in dict(position.choices):
            self._tell_what_settles_nothing(holder)

    def _tell_what_settles_nothing(self, holder: RightHolder) -> None:
        """Say of each paper why it would not settle the objection; it may still be a signature."""
        document, since = self.fields["document"], settling.since_of(holder)
        assert isinstance(document, PaperField)
        assert since is not None  # only of somebody who opposes
        against = {p.pk: settling.why_not(p, since) for p in papers(holder.case)}
        document.notes = {pk: SETTLES_NOT[why.code] for pk, why in against.items() if why}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self.check_said(data)
        if data.get("position") == Position.SETTLED and not data.get("document"):
            self.add_error("document", "Choose its paper. If it is not on file yet, file it first.")
        return data


def positions(holder: RightHolder, *, may_settle: bool) -> list[tuple[str, str]]:
    """What this person can say as things stand."""
    person = right.person_of(holder)
    objects = person.objection is not None and person.objection.stands
    offered = [] if objects else [(Position.SIGNED, "signs the authorization")]
    offered.append((Position.OBJECTS, "objects"))
    if person.has_signed:
        offered.append((Position.WITHDRAWN, "takes the signature back"))
    if person.opposes and may_settle:
        offered.append((Position.SETTLED, "objects no longer: it is settled, by the paper below"))
    return [(str(key), words) for key, words in offered]


class ClassesForm(SeenForm):
    """Of which classes everybody is named, several at once."""

    informant = text("Who says so", 200)

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.complete = right.complete_by(self.show(seen.of_classes(case)))
        for key in (rank.key for rank in case.law.ranks):
            self.fields[key] = yes(right_words.class_title(key).capitalize())
            self.initial.setdefault(key, key in self.complete)
        self.order_fields([*(rank.key for rank in case.law.ranks), "informant"])

    @property
    def classes(self) -> list[Any]:
        """The boxes of the classes, in the order of the jurisdiction."""
        return [self[name] for name in self.fields if name not in ("informant", "token", "seen")]

    def changed(self) -> dict[str, bool]:
        """Return the classes of which something else is said now than before."""
        stated = {k: v for k, v in self.stated().items() if k not in ("informant", "seen")}
        return {key: now for key, now in stated.items() if now != (key in self.complete)}


class ReviewForm(SeenForm, SignedForm):
    """A manager's record of what the authority or counsel answered."""

    reason = lines("Who answered, when, and what")
    document = PaperField(
        Document.objects.none(), label="Its paper", required=False, empty_label="none on file"
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.show(seen.of_right(case))
        _offer_papers(self, case)
