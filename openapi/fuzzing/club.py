"""Things of the club that a request can name: made anew by curators and members, so that what one request takes away no other
lacks. The document's examples name a member `osprey` with the tanks `Lagoon` and `Lagon` and the corals C01 to C03."""

import itertools
import json
import os
import secrets
import time

import requests

PASSWORD = "a tern fishes at dusk"
OWNER = "osprey"
LISTS = [
    "tanks", "specimens", "stays", "readings", "sizings", "sightings", "endings", "routines", "events", "incidents",
    "placements", "instruments",
]  # fmt: skip
BAND = {"taxon": "goniopora", "parameter": "nitrate", "lower": 5, "upper": 12, "signed_by": "husbandry group"}
NAME = {"name": "flowerpot", "taxon": "goniopora", "signed_by": "husbandry group"}
REGISTER = "ID,Coral,Acquired,Tank,Date died,Cause\n" + "".join(
    f"{label},Goniopora sp.,2024-05-01,Lagoon,{died}\n" for label, died in [("C01", "2025-02-01,heater stuck on"), ("C02", ","), ("C03", ",")]
)
CHANGES = {
    "tanks": {"litres": 80.0},
    "specimens": {"size_mm": 45.0},
    "stays": {"to_day": "2024-11-01"},
    "readings": {"value": 6.0},
    "sizings": {"value": 64.0},
    "sightings": {"polyp_extension": 2},
    "endings": {"cause": "heater"},
    "routines": {"rate": "daily"},
    "events": {"amount": 25.0},
    "incidents": {"to_day": None},
    "placements": {"par": 110.0},
    "instruments": {"limit_value": 0.5},
}


def water(number, phosphate=False):
    """A log of tests, another for each number; of phosphate it asks what "not detected" stands for."""
    if phosphate:
        days = [("03-04", f"0.0{number}"), ("03-11", "not detected"), ("03-18", f"0.0{number}")]
        return "Tank,Date,PO4 (mg/L)\n" + "".join(f"Lagoon,2025-{day},{value}\n" for day, value in days)
    days = ["03-04", "03-18", "04-01"]
    return "Tank,Date,Nitrate (mg/L)\n" + "".join(f"Lagoon,2025-{day},5.{number}\n" for day in days)


class Club:
    """Makes things by the API. Each call that fails raises: without them nothing is tested."""

    def __init__(self, url, curator, owner=None):
        self.url, self.curator, self.owner = url, curator, owner
        self.session = requests.Session()
        self.session.trust_env = False
        # As behind a proxy with TLS, so that cookies have their documented name.
        self.session.headers["X-Forwarded-Proto"] = "https"
        # Hooks of several runs make things of the same club: numbers differ from run to run.
        self.numbers = itertools.count(secrets.randbelow(10**8) * 1000)

    def ask(self, method, path, token=None, headers=None, **more):
        headers = dict(headers or {})
        if token:
            headers["Authorization"] = f"Bearer {token}"
        for _ in range(6):
            answer = self.session.request(method, self.url + path, headers=headers, timeout=120, **more)
            if answer.status_code != 429:
                break
            # Made-up sign-ins are guesses that failed, and what is made here comes from the same address.
            time.sleep(float(answer.headers.get("Retry-After", "1")))
        if not answer.ok:
            raise RuntimeError(f"{method} {path}: {answer.status_code} {answer.text[:500]}")
        return answer

    def made(self, path, body, token=None, **more):
        return self.ask("POST", f"/api/v1/{path}", token or self.curator, json=body, **more).json()

    def member(self, handle):
        """A token of a member, who is made if need be."""
        return self.made("tokens", {"role": "keeper", "keeper": handle, "create": True})["token"]

    def populate(self, handle=OWNER):
        """A member as the examples have one; a token of theirs."""
        token = self.member(handle)
        self.register(token)
        self.made("tanks", {"name": "Lagon"}, token)
        return token

    def publish(self):
        """Everybody may read, and members read what the records say now."""
        self.ask("PATCH", "/api/v1/settings", self.curator, json={"publish": True})
        self.ask("POST", "/api/v1/releases", self.curator)

    def kept(self):
        """The highest numbers of what the run itself stands on."""
        lists = {"tokens": "tokens", "accounts": "accounts", "uploads": "uploads"}
        found = {}
        for name, path in lists.items():
            rows = self.ask("GET", f"/api/v1/{path}?limit=1000", self.curator).json()[name]
            found[name] = max((row["id"] for row in rows), default=0)
        return found

    # Uploads.

    def upload(self, text, query, token=None):
        headers = {"Content-Type": "text/csv"}
        sent = self.ask("POST", f"/api/v1/uploads?{query}", token or self.owner, headers, data=text.encode())
        place = sent.headers["Location"]
        for _ in range(600):
            upload = self.ask("GET", place, self.curator).json()
            if upload["state"] not in ("received", "reading", "committing"):
                return upload
            time.sleep(0.05)
        raise RuntimeError(f"{place} is not read: {upload}")

    def questions(self, upload):
        found = self.ask("GET", f"/api/v1/uploads/{upload}/findings?limit=1000", self.curator).json()["findings"]
        return [finding["key"] for finding in found if finding["severity"] == "questioned"]

    def register(self, token):
        """A list of corals, answered and committed."""
        upload = self.upload(REGISTER, "name=corals.csv&as_of=2025-06-01", token)["id"]
        answers = [{"key": key, "choice": "day", "value": "2024-01-01"} for key in self.questions(upload)]
        self.made(f"uploads/{upload}/answers", {"answers": answers}, token)
        self.made(f"uploads/{upload}/commit", {}, token)

    def ready(self):
        number = next(self.numbers)
        return self.upload(water(number), f"name=tests-{number}.csv")["id"]

    def asked(self):
        """An upload with a question, and the question's key."""
        number = next(self.numbers)
        text = water(number, phosphate=True)
        upload = self.upload(text, f"name=phosphate-{number}.csv&log=phosphate-{number}")["id"]
        return upload, self.questions(upload)[0]

    def link(self):
        """A link to a question: upload, number, secret."""
        upload, key = self.asked()
        made = self.made(f"uploads/{upload}/links", {"key": key})
        return upload, made["id"], made["url"].rsplit("/", 1)[1]

    # Records.

    def sample(self, kind, number, coral):
        day = f"202{number % 5}-{number // 5 % 12 + 1:02}-{number // 60 % 28 + 1:02}"
        hour = f"{number // 3600 % 24:02}:{number // 60 % 60:02}:{number % 60:02}"
        return {
            "tanks": {"name": f"Frag rack {number}", "litres": 60.0, "started": "2024-01-01"},
            "specimens": {"label": coral, "taxon": "goniopora", "origin": "captive_grown", "origin_basis": "member_cutting",
                          "acquired_earliest": "2024-05-01", "acquired_latest": "2024-05-01", "tank": "Lagoon", "size_mm": 40.0},
            "stays": {"specimen": coral, "tank": "Lagoon", "from_day": "2024-08-01"},
            "readings": {"tank": "Lagoon", "parameter": "nitrate", "taken_on": day, "taken_time": hour, "value": 5.0},
            "sizings": {"specimen": coral, "measure": "max_diameter", "basis": "skeleton", "value": 6.2, "unit": "cm", "on_day": "2025-01-01"},
            "sightings": {"specimen": coral, "on_day": "2025-01-01", "status": "open"},
            "endings": {"specimen": coral, "fate": "died", "earliest": "2025-02-01", "latest": "2025-02-01"},
            "routines": {"tank": "Lagoon", "kind": "target_feed", "rate": "twice a week", "from_day": day},
            "events": {"tank": "Lagoon", "kind": "water_change", "on_day": day, "on_time": hour, "amount": 30.0, "unit": "L"},
            "incidents": {"tank": "Lagoon", "kind": "power_cut", "from_day": day, "to_day": day},
            "placements": {"specimen": coral, "from_day": "2025-01-01", "height": "middle", "par": 90.0},
            "instruments": {"parameter": "nitrate", "name": f"Tidepool N{number}", "step": 1.0},
        }[kind]  # fmt: skip

    def new(self, kind):
        """What a record of a kind can be made from; a coral that it is about is there."""
        number = next(self.numbers)
        coral = f"N{number}"
        if kind in ("stays", "endings", "sizings", "sightings", "placements"):
            self.made("specimens", self.sample("specimens", number, coral), self.owner)
        return self.sample(kind, number, coral)

    def record(self, kind):
        return self.made(kind, self.new(kind), self.owner)["record"]["id"]

    # The desk.

    def kit(self):
        return {"parameter": "phosphate", "name": f"kit {next(self.numbers)}", "limit": 0.03}

    def confirmed_kit(self):
        kit = self.kit()
        return {"kit": kit, "confirm": self.made("kits/preview", kit)["confirm"]}

    def claim(self):
        return {"code": f"own_{next(self.numbers)}", "wording": "As we teach it.", "taxon": "goniopora",
                "condition": "nitrate_above", "outcome": "death", "direction": "more", "signed_by": "husbandry group"}  # fmt: skip

    def merge(self):
        """Two corals of a member that can be joined."""
        keeper = f"joined {next(self.numbers)}"
        self.register(self.member(keeper))
        return {"keeper": keeper, "kind": "specimen", "from": "C03", "into": "C02"}

    def confirmed_merge(self):
        merge = self.merge()
        confirm = self.made("merges/preview", merge)["confirm"]
        return {"merge": merge, "confirm": confirm, "signed_by": "husbandry group"}

    # People.

    def invite(self, role, keeper=None):
        return self.made("invitations", {"role": role, "keeper": keeper})

    def sign(self, answer):
        """Headers of the session that an answer begins, and the number of its account."""
        cookie = answer.headers["Set-Cookie"].split(";")[0]
        self.session.cookies.clear()
        told = answer.json()
        return {"Cookie": cookie, "X-CSRF-Token": told["csrf"]}, told["account"]

    def account(self, name):
        """A reader's account of that name."""
        secret = self.invite("reader")["url"].rsplit("/", 1)[1]
        self.ask("POST", "/api/v1/invitations/accept", json={"secret": secret, "name": name, "password": PASSWORD})

    def passing(self, role):
        """Somebody of a role with an account of their own, whose session may end."""
        name = f"passing {next(self.numbers)}"
        secret = self.invite(role, name if role == "keeper" else None)["url"].rsplit("/", 1)[1]
        body = {"secret": secret, "name": name, "password": PASSWORD}
        return self.sign(self.ask("POST", "/api/v1/invitations/accept", json=body))

    def leaving(self):
        """A member who may leave: handle and token."""
        handle = f"leaving-{next(self.numbers)}"
        return handle, self.member(handle)

    def token(self):
        return self.made("tokens", {"role": "reader"})["id"]

    def own_token(self, session):
        return self.ask("POST", "/api/v1/me/tokens", headers=session, json={}).json()["id"]


def of_environment():
    """The club that the run prepared."""
    told = json.loads(os.environ["STRANDLINE_FUZZ"])
    return told, Club(told["url"], told["curator"], told["owner"])
