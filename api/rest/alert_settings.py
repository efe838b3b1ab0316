"""Which alerts a maker hears of and when, and where they go."""

from typing import Any

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Id, Moment, Text, WallTime, Whole
from ledger import alert_settings, receivers
from ledger.access import Actor
from ledger.alert_settings import Choices
from ledger.errors import Stale
from ledger.models import AlertKind, AlertMessage, AlertReceiver, AlertSetting

DAYS: dict[str, Any] = {"min_value": 0, "max_value": 3650, "required": False}


class ToldIn(Body):
    """By kind whether a mail goes at once, in the daily digest or never."""

    low_stock = Choice(AlertSetting.Telling.values, required=False)
    batch_short = Choice(AlertSetting.Telling.values, required=False)
    expiring = Choice(AlertSetting.Telling.values, required=False)
    retest_due = Choice(AlertSetting.Telling.values, required=False)
    quarantine_ageing = Choice(AlertSetting.Telling.values, required=False)
    price_jump = Choice(AlertSetting.Telling.values, required=False)
    deposit_unclaimed = Choice(AlertSetting.Telling.values, required=False)
    called_back = Choice(AlertSetting.Telling.values, required=False)


class ToldOut(serializers.Serializer[Any]):
    low_stock = serializers.ChoiceField(AlertSetting.Telling.values)
    batch_short = serializers.ChoiceField(AlertSetting.Telling.values)
    expiring = serializers.ChoiceField(AlertSetting.Telling.values)
    retest_due = serializers.ChoiceField(AlertSetting.Telling.values)
    quarantine_ageing = serializers.ChoiceField(AlertSetting.Telling.values)
    price_jump = serializers.ChoiceField(AlertSetting.Telling.values)
    deposit_unclaimed = serializers.ChoiceField(AlertSetting.Telling.values)
    called_back = serializers.ChoiceField(AlertSetting.Telling.values)


class AlertSettingsIn(Body):
    """All of it: what is left out becomes as it is by default."""

    told = ToldIn(required=False)
    digest_hour = Whole(min_value=0, max_value=23, required=False)
    quiet_from = WallTime(required=False, allow_null=True)
    quiet_until = WallTime(required=False, allow_null=True)
    time_zone = Text(
        max_length=64,
        required=False,
        allow_blank=True,
        help_text="Such as Europe/Paris; blank is that of the co-op.",
    )
    expiring_days = Whole(**DAYS)
    retest_days = Whole(**DAYS)
    quarantine_days = Whole(**DAYS)
    price_jump_percent = Whole(
        min_value=0,
        max_value=10_000,
        required=False,
        help_text="A price that rises by more is told.",
    )
    deposit_days = Whole(**DAYS)
    use_told = Choice(
        AlertSetting.UseTold.values,
        required=False,
        help_text="What others learn of what this maker uses, where a lot of theirs expires.",
    )


class AlertSettingsOut(serializers.Serializer[Any]):
    told = ToldOut()
    digest_hour = serializers.IntegerField()
    quiet_from = WallTime(allow_null=True)
    quiet_until = WallTime(allow_null=True)
    time_zone = Text(allow_blank=True)
    expiring_days = serializers.IntegerField()
    retest_days = serializers.IntegerField()
    quarantine_days = serializers.IntegerField()
    price_jump_percent = serializers.IntegerField()
    deposit_days = serializers.IntegerField()
    use_told = serializers.ChoiceField(AlertSetting.UseTold.values)
    version = serializers.IntegerField(help_text="Zero until something is chosen.")


class ReceiverIn(Body):
    mail = Text(max_length=254, required=False)
    webhook = Text(max_length=500, required=False, help_text="An https address.")


class ReceiverRow(serializers.Serializer[Any]):
    id = Id()
    channel = serializers.ChoiceField(AlertReceiver.Channel.values)
    address = Text()
    disabled_at = Moment(allow_null=True, help_text="When it answered that it is gone (410).")
    earlier_secret_until = Moment(allow_null=True)
    created_at = Moment()


class ReceiverOut(ReceiverRow):
    secret = Text(allow_null=True, help_text="Shown this once, and to nobody who asks again.")


class MessageOut(serializers.Serializer[Any]):
    id = Id(help_text="What the receiver knows it by, however often it is sent.")
    receiver = Id(allow_null=True, help_text="Null for the maker's owners.")
    alert = Id(allow_null=True)
    digest = Id(allow_null=True, help_text="What the digest that gathers it is known by.")
    event = serializers.ChoiceField(AlertMessage.Event.values)
    state = serializers.ChoiceField(AlertMessage.State.values)
    due_at = Moment()
    ended_at = Moment(allow_null=True)
    attempts = serializers.IntegerField()
    last_code = serializers.IntegerField(allow_null=True, help_text="The last HTTP status.")
    note = Text(allow_blank=True)


class MessageQuery(Paged):
    receiver = serializers.UUIDField(required=False)
    state = Choice(AlertMessage.State.values, required=False)


def settings_json(choices: Choices) -> dict[str, Any]:
    kept = {name: getattr(choices, name) for name in Choices.__slots__}
    hours = {name: kept[name] and f"{kept[name]:%H:%M}" for name in ("quiet_from", "quiet_until")}
    return {**kept, **hours, "told": {kind.value: choices.telling(kind) for kind in AlertKind}}


def receiver_json(row: AlertReceiver) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "channel": row.channel,
        "address": row.address,
        "disabled_at": row.disabled_at,
        "earlier_secret_until": row.earlier_until,
        "created_at": row.created_at,
    }


def message_json(row: AlertMessage) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "receiver": str(row.receiver_id) if row.receiver_id else None,
        "alert": str(row.alert_id) if row.alert_id else None,
        "digest": str(row.digest) if row.digest else None,
        "event": row.event,
        "state": row.state,
        "due_at": row.due_at,
        "ended_at": row.ended_at,
        "attempts": row.attempts,
        "last_code": row.last_code,
        "note": row.note,
    }


class AlertSettings(Resource):
    """What the maker chose about its alerts."""

    @reads(None, AlertSettingsOut)
    def get(self, actor: Actor) -> Sent:
        """Show which alerts are told, when, and what others may learn."""
        return _settings(actor, alert_settings.alert_settings(actor))

    @writes(
        AlertSettingsIn,
        AlertSettingsOut,
        status=200,
        keyed=False,
        matches=True,
        examples=examples.ALERT_SETTINGS,
    )
    def put(self, actor: Actor, data: dict[str, Any]) -> Sent:
        """Choose which alerts are told, when, and what others may learn."""
        given, version = self.request.headers.get("If-Match"), None
        if given is not None:
            if not given.strip():
                # It names no version, so it is none that was read.
                raise Stale
            # Whoever acts for no maker is told so by the verb.
            version = etags.expected_version(self.request, actor.maker_id or actor.coop_id)
        return _settings(actor, alert_settings.choose(actor, Choices(**data), version=version))


class Receivers(Resource):
    """Where the maker's alerts go."""

    @reads(Paged, page_of(ReceiverRow))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List the addresses that alerts go to, newest first."""
        return page(self.request, query, receivers.receivers(actor), receiver_json)

    @writes(ReceiverIn, ReceiverOut, examples=examples.RECEIVER)
    def post(self, actor: Actor, data: dict[str, Any]) -> Sent:
        """Send alerts to a mail address or to a program; the program's secret is shown once."""
        return _shown_once(receivers.add_receiver(actor, **data))


class OneReceiver(Resource):
    """One address that alerts go to."""

    @reads(None, ReceiverRow)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show an address that alerts go to."""
        return receiver_json(receivers.receiver_for(actor, id))

    @writes(None, None, status=204, keyed=False)
    def delete(self, actor: Actor, id: str) -> None:
        """Send no alerts there any more."""
        receivers.remove_receiver(actor, id, now=self.now)


class Secrets(Resource):
    """The secret by which a program knows that a message is ours."""

    @writes(None, ReceiverOut)
    def post(self, actor: Actor, id: str) -> Sent:
        """Make a new secret and show it once; for a day the one before it signs as well."""
        return _shown_once(receivers.renew_secret(actor, id, now=self.now))


class ReceiverTests(Resource):
    """A message that tells of nothing."""

    @writes(None, MessageOut)
    def post(self, actor: Actor, id: str) -> dict[str, Any]:
        """Send a message to see whether it arrives; what became of it is among the messages."""
        return message_json(receivers.send_test(actor, id, now=self.now))


class AlertMessages(Resource):
    """What was sent, waits to be sent, or could not be."""

    @reads(MessageQuery, page_of(MessageOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List messages of alerts, newest first."""
        rows = receivers.messages(actor, receiver=query.get("receiver"), state=query.get("state"))
        return page(self.request, query, rows, message_json)


def _settings(actor: Actor, choices: Choices) -> Sent:
    return Sent(settings_json(choices), headers={"ETag": etags.etag(actor.maker, choices.version)})


def _shown_once(shown: receivers.Shown) -> Sent:
    body = {**receiver_json(shown.receiver), "secret": shown.secret}
    return Sent(body, once=("secret",))
