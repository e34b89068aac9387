"""What schemathesis is told of the club: who asks, and which things there are. Made-up values stay as they are wherever they
are what is tried; a number, handle or secret of a thing is made real, since made-up ones answer 404 and try nothing else."""

import json

import schemathesis
from club import BAND, CHANGES, LISTS, NAME, OWNER, PASSWORD, of_environment, water
from schemathesis.generation import GenerationMode

TOLD, CLUB = of_environment()
ROLE = TOLD["role"]
SHORT = TOLD["short"]
# Only somebody who signed in may: a token is refused.
OF_PERSONS = {"/api/v1/session", "/api/v1/me/password", "/api/v1/me/tokens", "/api/v1/me/tokens/{id}"}
NAMED = ("id", "link", "handle", "secret")
# Words of lists that grow with the club or its catalogue, so that the document leaves them open. Others are refused by name
# (400), which a schema cannot say.
WORDS = {
    "by": ["none", "origin", "nitrate"],
    "given": ["water_in_band"],
    "condition": ["nitrate", "feeding"],
    "group": ["lps", "sps"],
    "parameter": ["nitrate", "phosphate"],
    "keeper": [OWNER],
    "severity": ["questioned", "noted"],
    "code": ["name_ambiguous"],
    "state": ["ready", "committed"],
    "kind": [],
}
# What nobody and a reader may do with things: for all else they are refused before anything is looked at.
OPEN = {
    ("POST", "setup"), ("POST", "session"), ("POST", "invitations/accept"), ("POST", "me/password"), ("POST", "me/tokens"),
    ("DELETE", "me/tokens/{id}"), ("GET", "/questions/{secret}"), ("POST", "/questions/{secret}"),
}  # fmt: skip
# Answers that take seconds to work out: in the short run one of each is enough.
SLOW = {"POST /api/v1/releases", "GET /api/v1/newsletter", "GET /api/v1/taxa/{slug}/report"}


def ours(method, path):
    """A request that this role may send if the document lets it, with things made for it."""
    club, tail = CLUB, path.removeprefix("/api/v1/")
    kind, _, rest = tail.partition("/")
    if ROLE in ("none", "reader") and (method, tail) not in OPEN:
        return {}
    # A curator names the member whose records they are.
    of_owner = {"keeper": TOLD["member"]} if ROLE == "curator" else {}
    if kind in LISTS and rest == "{id}":
        return {"path_parameters": {"id": club.record(kind)}, "body": CHANGES[kind] if method == "PATCH" else None}
    if kind in LISTS and method == "POST":
        return {"query": of_owner, "body": club.new(kind)}
    if method == "GET" and kind in LISTS:
        return {}
    make = {
        ("POST", "uploads"): lambda: {"query": {"name": "more.csv", **of_owner}, "body": water(next(club.numbers)), "media_type": "text/csv"},
        ("POST", "uploads/{id}/answers"): lambda: {"id": club.ready(), "body": {"answers": []}},
        ("POST", "uploads/{id}/commit"): lambda: {"id": club.ready(), "body": {}},
        ("POST", "uploads/{id}/links"): lambda: dict(zip(("id", "key"), club.asked(), strict=True)),
        ("DELETE", "uploads/{id}/links/{link}"): lambda: dict(zip(("id", "link"), club.link(), strict=False)),
        ("GET", "/questions/{secret}"): lambda: {"secret": club.link()[2]},
        ("POST", "/questions/{secret}"): lambda: {"secret": club.link()[2], "body": {"choice": "limit", "value": 0.03}},
        ("POST", "kits/preview"): lambda: {"body": club.kit()},
        ("POST", "kits"): lambda: {"body": club.confirmed_kit()},
        ("DELETE", "kits/{id}"): lambda: {"id": club.made("kits", club.confirmed_kit())["id"]},
        ("POST", "bands/preview"): lambda: {"body": BAND},
        ("POST", "bands"): lambda: {"body": BAND},
        ("DELETE", "bands/{id}"): lambda: {"id": club.made("bands", BAND)["id"]},
        ("POST", "names/preview"): lambda: {"body": NAME},
        ("POST", "names"): lambda: {"body": NAME},
        ("DELETE", "names/{id}"): lambda: {"id": club.made("names", NAME)["id"]},
        ("POST", "claims"): lambda: {"body": club.claim()},
        ("DELETE", "claims/{id}"): lambda: {"id": club.made("claims", club.claim())["id"]},
        ("POST", "merges/preview"): lambda: {"body": club.merge()},
        ("POST", "merges"): lambda: {"body": club.confirmed_merge()},
        ("DELETE", "merges/{id}"): lambda: {"id": club.made("merges", club.confirmed_merge())["id"]},
        ("POST", "roll-call"): lambda: {"query": of_owner, "body": {"on": "2025-06-01"}},
        ("POST", "tokens"): lambda: {"body": {"role": "reader"}},
        ("DELETE", "tokens/{id}"): lambda: {"id": club.token()},
        ("POST", "keepers"): lambda: {"body": {"handle": f"member {next(club.numbers)}"}},
        ("PATCH", "keepers/{handle}"): lambda: {"handle": club.leaving()[0], "body": {"keeping_since": 2016}},
        ("DELETE", "keepers/{handle}"): leave,
        ("DELETE", "me"): lambda: {"query": {"confirm": LEAVING.handle()}},
        ("PATCH", "settings"): lambda: {"body": {"release_days": 7}},
        ("POST", "setup"): lambda: {"body": {"code": TOLD["setup"], "club": "Tidepool Reef Circle", "name": "first", "password": PASSWORD}},
        ("POST", "session"): lambda: {"body": {"name": TOLD["account"], "password": PASSWORD}},
        ("POST", "me/password"): lambda: {"body": {"present": PASSWORD, "new": "kelp sways, limpets stay"}},
        ("POST", "me/tokens"): lambda: {"body": {}},
        ("DELETE", "me/tokens/{id}"): lambda: {"id": club.own_token(SESSIONS.of("me/tokens/{id}"))},
        ("POST", "invitations"): lambda: {"body": {"role": "reader"}},
        ("DELETE", "invitations/{id}"): lambda: {"id": club.invite("reader")["id"]},
        ("POST", "invitations/accept"): accept,
        ("PATCH", "accounts/{id}"): lambda: {"id": club.passing("reader")[1], "body": {"disabled": True}},
    }.get((method, tail))
    if make is None:
        return {"path_parameters": {"id": CLUB.ready()}} if tail.startswith("uploads/{id}") else {}
    made = make()
    if "key" in made:
        made["body"] = {"key": made.pop("key")}
    named = {name: made.pop(name) for name in NAMED if name in made}
    return {**made, "path_parameters": named} if named else made


def leave():
    handle, _ = CLUB.leaving()
    return {"handle": handle, "query": {"confirm": handle}}


def accept():
    secret = CLUB.invite("reader")["url"].rsplit("/", 1)[1]
    return {"body": {"secret": secret, "name": f"guest {next(CLUB.numbers)}", "password": PASSWORD}}


class Sessions:
    """Sessions of this role by the address that they are for: one that is ended elsewhere is begun anew."""

    def __init__(self):
        self.begun = {}

    def of(self, tail):
        if tail not in self.begun:
            self.begun[tail] = CLUB.passing("reader" if ROLE == "none" else ROLE)[0]
        return self.begun[tail]

    def ended(self, tail):
        self.begun.pop(tail, None)


class Leaving:
    """A member who may leave, in place of the one whose records the others name."""

    def __init__(self):
        self.member = None

    def _of(self):
        self.member = self.member or CLUB.leaving()
        return self.member

    def handle(self):
        return self._of()[0]

    def token(self):
        return self._of()[1]


SESSIONS, LEAVING = Sessions(), Leaving()
# Path parameters of a thing that stands, by operation, until it is gone.
STANDING = {}


def credentials(method, path):
    """Headers and cookies with which this role asks."""
    if ROLE == "none":
        return {}, {}
    if path in OF_PERSONS and (method, path) != ("POST", "/api/v1/session"):
        session = SESSIONS.of(path.removeprefix("/api/v1/"))
        name, _, value = session["Cookie"].partition("=")
        return {"X-CSRF-Token": session["X-CSRF-Token"]}, {name: value}
    token = LEAVING.token() if (method, path, ROLE) == ("DELETE", "/api/v1/me", "keeper") else TOLD["token"]
    return {"Authorization": f"Bearer {token}"}, {}


@schemathesis.auth(refresh_interval=None)
class Asking:
    def get(self, case, context):
        # The probe of another method is no such request.
        return credentials(case.operation.method.upper(), case.operation.path)

    def set(self, case, data, context):
        headers, cookies = data
        for name, value in headers.items():
            case.headers[name] = value
        if cookies:
            case.cookies = {**(case.cookies or {}), **cookies}


@schemathesis.hook
def before_add_examples(context, examples):
    """Beside the document's own examples, one with things that are there."""
    operation = context.operation
    method, path = operation.method.upper(), operation.path
    if SHORT:
        del examples[2:]
    made = {name: value for name, value in ours(method, path).items() if value is not None}
    if "body" in made:
        made.setdefault("media_type", "application/json")
    if not made and examples:
        return
    if "path_parameters" not in made:
        named = {one: examples[0].path_parameters[one] for one in (examples[0].path_parameters if examples else {})}
        if named:
            made["path_parameters"] = named
    case = operation.Case(**made)
    headers, cookies = credentials(method, path)
    case.headers.update(headers)
    if cookies:
        case.cookies = dict(cookies)
    # Else schemathesis takes them for made up.
    case._has_explicit_auth = ROLE != "none"
    case.headers["X-Ours"] = "1"
    examples.append(case)


def mode(case):
    return case.meta.generation.mode if case.meta else None


def tried(case):
    """Where a case puts what it tries, if it says so."""
    place = getattr(case.meta.phase.data, "parameter_location", None) if case.meta else None
    return getattr(place, "value", place)


@schemathesis.hook
def before_call(context, case, kwargs):
    operation = case.operation
    label, method, path = operation.label, operation.method.upper(), operation.path
    if case.headers.pop("X-Ours", None):
        return
    phase = case.meta.phase.name.value if case.meta else "examples"
    named = [name for name in NAMED if f"{{{name}}}" in path]
    negative_path = tried(case) == "path"
    if named and (guarded(method, path, case) or (phase != "stateful" and not negative_path)):
        if label not in STANDING:
            STANDING[label] = ours(method, path).get("path_parameters") or {}
        for name in named:
            if name in STANDING[label]:
                case.path_parameters[name] = STANDING[label][name]
    if mode(case) == GenerationMode.POSITIVE and case.method.upper() == method:
        positive(method, path, case)


def guarded(method, path, case):
    """What the run itself stands on is not taken away: its keys, its accounts, its member, and files of the club."""
    if method == "GET" or not case.path_parameters:
        return False
    if "handle" in case.path_parameters:
        return str(case.path_parameters["handle"]).strip().lower() in (OWNER, TOLD["member"])
    try:
        number = int(case.path_parameters.get("id"))
    except (TypeError, ValueError):
        return False
    kept = {"/api/v1/tokens/{id}": "tokens", "/api/v1/accounts/{id}": "accounts", "/api/v1/uploads/{id}": "uploads"}.get(path)
    return kept is not None and number <= TOLD["kept"][kept]


def positive(method, path, case):
    """What no schema says of values that go together."""
    query = case.query or {}
    # A cursor is what `links.next` gave.
    query.pop("cursor", None)
    # `csv` is a way of writing CSV, and a size is a picture's.
    if query.get("format", "csv") != "csv":
        query.pop("csv", None)
    if query.get("format") not in ("svg", "png"):
        query.pop("size", None)
    for name, words in WORDS.items():
        value = query.get(name)
        if value is None or path.endswith("/parameters"):
            continue
        if not words:
            query.pop(name)
        elif value not in words:
            query[name] = words[len(str(value)) % len(words)]
    # Who is taken out is said twice.
    if (method, path) == ("DELETE", "/api/v1/keepers/{handle}"):
        query["confirm"] = case.path_parameters["handle"]
    if (method, path, ROLE) == ("DELETE", "/api/v1/me", "keeper"):
        query["confirm"] = LEAVING.handle()
    # Edges cut numbers.
    if "edges" in query:
        query["edges"] = "5,15"
        query["by"] = "nitrate"
    # What members and the public may ask is narrower than what a curator may, and one document serves all.
    if ROLE != "curator":
        if "horizon_days" in query:
            query["horizon_days"] = 365
        if path.endswith("/lead-up"):
            query.pop("since", None)
    # Raw bytes have no name of their own.
    if (method, path) == ("POST", "/api/v1/uploads"):
        query.setdefault("name", "more.csv")
        # A curator names the member whose file it is.
        if ROLE == "curator":
            query.setdefault("keeper", TOLD["member"])
    case.query = query


SEEN = set()


@schemathesis.hook
def filter_case(context, case):
    """The short run keeps one case of each kind of violation and place, for each operation."""
    if not SHORT or case.meta is None or case.meta.phase.name.value != "coverage":
        return True
    data = case.meta.phase.data
    kind = (case.operation.label, getattr(data, "scenario", None), tried(case))
    if case.operation.label in SLOW:
        kind = (case.operation.label, None, None)
    if kind in SEEN:
        return False
    SEEN.add(kind)
    return True


RECORD = open(TOLD["record"], "a", buffering=1)  # noqa: SIM115 (as long as the run)


@schemathesis.hook
def after_call(context, case, response):
    operation, status = case.operation, response.status_code
    method, path = operation.method.upper(), operation.path
    if case.method.upper() != method:
        return
    phase = case.meta.phase.name.value if case.meta else "examples"
    RECORD.write(json.dumps([operation.label, status, phase]) + "\n")
    ok = 200 <= status < 300
    if (ok and method != "GET") or status == 404:
        STANDING.pop(operation.label, None)
    if path in OF_PERSONS and (status == 401 or (ok and path in ("/api/v1/session", "/api/v1/me/password") and method != "GET")):
        SESSIONS.ended(path.removeprefix("/api/v1/"))
    if ok and (method, path) == ("DELETE", "/api/v1/me"):
        LEAVING.member = None

