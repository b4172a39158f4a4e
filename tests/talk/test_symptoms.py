"""Finding a symptom from what people say: any trade word, any spelling, any text."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.knowledge.load import load_knowledge
from diag.talk.symptoms import LONGEST_TEXT, Match, circuits_like, clear_winner, find_symptoms
from tests.vehicles import SIX

KNOW = load_knowledge(SIX)

SAID: tuple[tuple[str, str], ...] = (
    # turn signals and hazard
    ("my winkers light up but they just sit there lit, no flash", "steady-turn-lamps"),
    ("bulbs glow solid when I signal left or right", "steady-turn-lamps"),
    ("passenger side winker goes twice the speed of the other", "one-side-fast"),
    ("left flasher is going like crazy, right is ok", "one-side-fast"),
    ("hazard lights fine but the indicator stalk does nothing", "turn-dead-hazard-works"),
    ("winkers won't do anything, four-ways are ok", "turn-dead-hazard-works"),
    ("indicators are fine, hazards don't do anything", "hazard-dead-turn-works"),
    ("the emergency four way switch is dead", "hazard-dead-turn-works"),
    ("neither the indicators nor the hazards work", "turn-and-hazard-dead"),
    ("front nearside winker bulb not lighting, the other three are ok", "one-turn-lamp-dark"),
    ("nothing on the left, front or back, when I indicate", "one-turn-side-dark"),
    ("little green arrow on the dash never lights when indicating", "turn-tell-tale-dark"),
    ("switching the sidelights on upsets the winkers", "lights-change-turn"),
    ("winkers are really sluggish unless I rev the engine", "slow-turn-signals"),
    ("signal left and the right hand ones flash", "wrong-turn-lamps"),
    ("winker keeps going even with the stalk in the middle", "turn-lamps-at-rest"),
    # stop, tail and plate lamps
    ("I press the pedal and neither brake lamp lights", "stop-lamps-dead"),
    ("friend behind me says I have no brake lights", "stop-lamps-dead"),
    ("driver's side brake bulb isn't lighting, other one is", "one-stop-lamp-dead"),
    ("brake lights on permanently even with my foot off", "stop-lamps-always-on"),
    ("brake lights very faint, can hardly see them in sunshine", "stop-lamps-dim"),
    ("pressing the brake makes the sidelights go dim", "brake-lights-mix"),
    ("both tail lights are out", "tail-lamps-dead"),
    ("nearside tail light bulb not lit", "one-tail-lamp-dead"),
    ("the lamp over the registration plate is out", "plate-lamp-dead"),
    # headlamps
    ("neither headlamp lights on dip or on main", "headlamps-dead"),
    ("headlights quit completely, parking lights are fine", "headlamps-dead"),
    ("when I dip everything in front goes black", "dipped-beam-dead"),
    ("low beams both out, high beams are ok", "dipped-beam-dead"),
    ("high beams don't come on, low beams do", "main-beam-dead"),
    ("everything goes dark when I switch to main", "main-beam-dead"),
    ("the nearside headlight is out", "one-headlamp-dark"),
    ("passenger side headlamp doesn't light", "one-headlamp-dark"),
    ("one head lamp shines much weaker than the other", "one-headlamp-dim"),
    ("offside headlight faint, nearside fine", "one-headlamp-dim"),
    ("both headlights are very poor on dark roads", "headlamps-dim"),
    ("headlamps like candles", "headlamps-dim"),
    ("blue lamp in the dash is lit though I have dipped", "main-tell-tale-on-dip"),
    ("high beam warning comes on when I use low beam", "main-tell-tale-on-dip"),
    ("the blue bulb never lights on full beam", "main-tell-tale-dark"),
    ("main beam works but the blue lamp is out", "main-tell-tale-dark"),
    ("left headlamp is on main beam while the right one is dipped", "headlamp-beams-mixed"),
    ("low beam on one side and high beam on the other", "headlamp-beams-mixed"),
    ("headlights won't switch off", "headlamps-stay-on"),
    ("headlamps burn even with the light switch off", "headlamps-stay-on"),
    ("front winker faintly lit whenever I put main beam on", "headlamps-light-turn-lamp"),
    ("turn lamp at the front glimmers with the high beams", "headlamps-light-turn-lamp"),
    ("the green winker lamp on the dash glimmers when I step on the brake", "pedal-lights-tell-tale"),
    ("braking lights up the arrow in the dashboard", "pedal-lights-tell-tale"),
    # horn
    ("battery is empty again each time I leave it parked over the weekend", "battery-flat-after-standing"),
    ("something eats the battery while the truck just stands there", "battery-flat-after-standing"),
    ("press the hooter and there is no sound at all", "horn-silent"),
    ("hooter makes a single clunk and that's it", "horn-clicks"),
    ("hooter sounds like a strangled duck", "horn-weak"),
    ("hooter starts blaring on its own without touching it", "horn-by-itself"),
    ("hooter only sounds when the steering wheel is turned a bit", "horn-at-some-angles"),
    # tell-tales and charging
    ("oil warning light not showing when I turn the key", "oil-tell-tale-dark"),
    ("oil pressure warning still burning while the motor runs", "oil-tell-tale-lit-running"),
    ("oil light is lit even though I took the key out", "oil-tell-tale-lit-key-off"),
    ("ignition warning light doesn't come on before starting", "charge-tell-tale-dark"),
    ("ignition light stays on when the engine is running", "charge-tell-tale-lit-running"),
    ("ignition lamp glows very slightly when driving", "charge-tell-tale-glows"),
    ("generator light burning with everything turned off", "charge-tell-tale-lit-key-off"),
    ("battery keeps running down, I need to recharge it all the time", "battery-not-charged"),
    ("acid boiling out of the battery", "battery-overcharged"),
    # other voices
    ("when i indicate the lamps come on and stay there", "steady-turn-lamps"),
    ("flashers wont flash just on solid", "steady-turn-lamps"),
    ("the right indicators click away at a furious pace", "one-side-fast"),
    ("offside trafficator flashing very rapidly", "one-side-fast"),
    ("can get hazards but no left or right signals", "turn-dead-hazard-works"),
    ("hazard button no longer does anything but blinkers ok", "hazard-dead-turn-works"),
    ("all four corners dead on both hazard and signals", "turn-and-hazard-dead"),
    ("rear right blinker bulb never comes on", "one-turn-lamp-dark"),
    ("left blinkers dead, right ones good", "one-turn-side-dark"),
    ("indicator repeater on the instrument panel is dark", "turn-tell-tale-dark"),
    ("with headlights on the tail lights blink with the indicators", "lights-change-turn"),
    ("ticker very slow", "slow-turn-signals"),
    ("i signal right and the left ones blink", "wrong-turn-lamps"),
    ("right indicator flashing without me touching the stalk", "turn-lamps-at-rest"),
    ("brake lights quit working", "stop-lamps-dead"),
    ("only my left brake light works", "one-stop-lamp-dead"),
    ("brake lights wont turn off", "stop-lamps-always-on"),
    ("brake lights not bright enough", "stop-lamps-dim"),
    ("when braking the indicators light up as well", "brake-lights-mix"),
    ("rear lights dont come on with the headlights", "tail-lamps-dead"),
    ("left tail light gone", "one-tail-lamp-dead"),
    ("licence plate bulb dead", "plate-lamp-dead"),
    ("horn quit", "horn-silent"),
    ("klaxon stopped working", "horn-silent"),
    ("i only hear a click when i press the horn", "horn-clicks"),
    ("horn very feeble", "horn-weak"),
    ("horn blares constantly", "horn-by-itself"),
    ("horn dead when the wheel is turned left", "horn-at-some-angles"),
    ("oil light doesnt work", "oil-tell-tale-dark"),
    ("oil light wont turn off after starting", "oil-tell-tale-lit-running"),
    ("oil light still on with ignition off", "oil-tell-tale-lit-key-off"),
    ("dynamo light not on with key", "charge-tell-tale-dark"),
    ("alternator light wont go out", "charge-tell-tale-lit-running"),
    ("generator lamp half on while driving", "charge-tell-tale-glows"),
    ("battery lamp stays lit when i take the key out", "charge-tell-tale-lit-key-off"),
    ("dynamo isnt putting anything in the battery", "battery-not-charged"),
    ("battery overcharging, 16 volts", "battery-overcharged"),
    ("trafficators jammed on, not blinking", "steady-turn-lamps"),
    ("left winker ticks faster than the right", "one-side-fast"),
    ("i have hazards but no turn signals", "turn-dead-hazard-works"),
    ("hazard switch not working, signals fine", "hazard-dead-turn-works"),
    ("no flashers of any kind", "turn-and-hazard-dead"),
    ("right front flasher lamp wont light", "one-turn-lamp-dark"),
    ("whole right side of the signals is dead", "one-turn-side-dark"),
    ("no green flash in the dash when i signal", "turn-tell-tale-dark"),
    ("tail lamp winks in time with the flasher", "lights-change-turn"),
    ("blinkers drag when the engine is idling", "slow-turn-signals"),
    ("left stalk makes the right lamps wink", "wrong-turn-lamps"),
    ("signals flash as soon as i switch on", "turn-lamps-at-rest"),
    ("stoplights inoperative", "stop-lamps-dead"),
    ("right stop bulb is out", "one-stop-lamp-dead"),
    ("stop lamps burn all day with nobody in the cab", "stop-lamps-always-on"),
    ("stop lights look pale", "stop-lamps-dim"),
    ("tail lamp gets dimmer when i step on the brake", "brake-lights-mix"),
    ("car is dark at the back at night", "tail-lamps-dead"),
    ("right rear running light out", "one-tail-lamp-dead"),
    ("cant see my number plate at night", "plate-lamp-dead"),
    ("hooter mute", "horn-silent"),
    ("horn only knocks", "horn-clicks"),
    ("horn sounds like a sick goose", "horn-weak"),
    ("the horn wont shut up", "horn-by-itself"),
    ("horn quits when i steer right", "horn-at-some-angles"),
    ("oil lamp never comes on when i switch on", "oil-tell-tale-dark"),
    ("oil light comes on when the engine is idling", "oil-tell-tale-lit-running"),
    ("oil lamp burns with key removed", "oil-tell-tale-lit-key-off"),
    ("red ignition bulb doesnt light at all", "charge-tell-tale-dark"),
    ("red dynamo lamp on at all speeds", "charge-tell-tale-lit-running"),
    ("charge lamp just barely alight on the road", "charge-tell-tale-glows"),
    ("dynamo warning stays lit after switching off", "charge-tell-tale-lit-key-off"),
    ("battery is dead every few days", "battery-not-charged"),
    ("it keeps frying bulbs and boiling the battery", "battery-overcharged"),
)
"""What was said, and the symptom meant."""
MISSPELT: tuple[tuple[str, str], ...] = (
    ("indacators stay on dont flash", "steady-turn-lamps"),
    ("blinkrs just stay lit no blinkng", "steady-turn-lamps"),
    ("rihgt indicater blinks really fsat", "one-side-fast"),
    ("hazzards work but indcators dont", "turn-dead-hazard-works"),
    ("hazrads not wrking", "hazard-dead-turn-works"),
    ("indicaters an hazards both ded", "turn-and-hazard-dead"),
    ("all the lefft indicators are daed", "one-turn-side-dark"),
    ("gren arow on dash not wrking", "turn-tell-tale-dark"),
    ("indictors realy slwo at idel", "slow-turn-signals"),
    ("brak lites dont werk", "stop-lamps-dead"),
    ("breaklights stuck on", "stop-lamps-always-on"),
    ("one brakelight is out", "one-stop-lamp-dead"),
    ("brake ligths realy dimm", "stop-lamps-dim"),
    ("no tale lights at al", "tail-lamps-dead"),
    ("numbr plate lite not workin", "plate-lamp-dead"),
    ("hron dosnt work", "horn-silent"),
    ("hooter olny cliks", "horn-clicks"),
    ("hrn goes of by itslf", "horn-by-itself"),
    ("oil lite wont go owt with engin runing", "oil-tell-tale-lit-running"),
    ("oil ligt not comming on", "oil-tell-tale-dark"),
    ("ignitoin light wont come on", "charge-tell-tale-dark"),
    ("dinamo not chargin, red light stayes on", "charge-tell-tale-lit-running"),
    ("baterry light faintly glowin at nite", "charge-tell-tale-glows"),
    ("battrey allways flat", "battery-not-charged"),
    ("batery boyling over", "battery-overcharged"),
    ("turn sgnals ded but hazrd ok", "turn-dead-hazard-works"),
    ("breake lihgts allways on", "stop-lamps-always-on"),
    ("haserd lites dont werk", "hazard-dead-turn-works"),
    ("lef indicater dosent werk at all", "one-turn-side-dark"),
    ("oyl lite stays on wen runing", "oil-tell-tale-lit-running"),
    ("horm sounds weack", "horn-weak"),
    ("tail ligts dont wrk", "tail-lamps-dead"),
    ("stop lihgts dont wok", "stop-lamps-dead"),
    ("licens plate lamp ded", "plate-lamp-dead"),
    ("no horn wen i pres the buton", "horn-silent"),
    ("hedlights dont werk at al", "headlamps-dead"),
    ("no dipd beam, mane beam ok", "dipped-beam-dead"),
    ("hi beam ded both sides", "main-beam-dead"),
    ("one hedlamp out", "one-headlamp-dark"),
    ("blue lite on wen dipped", "main-tell-tale-on-dip"),
    ("headlites stay on", "headlamps-stay-on"),
    ("green arow glows wen i brake", "pedal-lights-tell-tale"),
)
"""What was typed on a phone, and the symptom meant."""

PHRASES = [(phrase, name) for name, symptom in KNOW.symptoms.items() for phrase in (symptom.title, *symptom.phrases)]


def first(text: str, limit: int = 3) -> list[str]:
    return [match.id for match in find_symptoms(text, KNOW, limit)]


def test_the_phrasings_are_not_the_knowledges_own_and_cover_every_symptom() -> None:
    """Or the next tests would measure nothing."""
    own = {phrase.casefold() for phrase, _ in PHRASES}
    assert not [text for text, _ in (*SAID, *MISSPELT) if text.casefold() in own]
    assert {name for _, name in SAID} == set(KNOW.symptoms)


@pytest.mark.parametrize("said", [SAID, MISSPELT], ids=["spelt", "misspelt"])
def test_nine_in_ten_of_what_people_say_is_among_the_first_three(said: tuple[tuple[str, str], ...]) -> None:
    """The person is shown a short list; what they mean must stand in it."""
    missed = [f"{text!r}: meant {name}, found {first(text)}" for text, name in said if name not in first(text)]
    print("\n".join(missed) or "none missed")
    assert len(missed) <= 0.1 * len(said), "\n".join(missed)


def test_what_is_taken_without_asking_is_hardly_ever_wrong() -> None:
    """A clear winner starts the job at once; a wrong one costs the person the way back."""
    every = (*SAID, *MISSPELT)
    taken = [
        (text, name, winner) for text, name in every if (winner := clear_winner(find_symptoms(text, KNOW))) is not None
    ]
    wrong = [(text, name, winner) for text, name, winner in taken if winner != name]
    print(f"{len(taken)} of {len(every)} taken, wrong: {wrong}")
    assert len(taken) >= 0.6 * len(every)
    assert len(wrong) <= 0.03 * len(taken), wrong


@pytest.mark.parametrize(("phrase", "name"), PHRASES)
def test_every_phrase_of_the_knowledge_finds_its_own_symptom_first(phrase: str, name: str) -> None:
    """Who writes a phrase into a file expects it to be understood, whatever its case."""
    assert first(phrase)[0] == name
    assert first(f"  {phrase.upper()}! ")[0] == name


def test_phrases_wrapped_in_ordinary_words_still_find_their_own() -> None:
    """Exact phrases could be looked up; nobody types them exactly."""
    wrapped = [(f"so my {phrase} please help", name) for phrase, name in PHRASES]
    assert not [(text, name) for text, name in wrapped if name not in first(text)]
    others = [(text, name, first(text)[0]) for text, name in wrapped if first(text)[0] != name]
    assert len(others) <= 0.03 * len(wrapped), others


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("turn signals dead, hazards work", "hazards dead, turn signals work"),
        ("brake lights go out", "brake lights do not go out"),
        ("indicators flash too fast", "indicators do not flash"),
        ("oil light will not come on", "oil light will not go out"),
        ("left brake light dead", "both brake lights dead"),
    ],
)
def test_a_negation_or_a_change_of_subject_changes_the_symptom(one: str, other: str) -> None:
    """The words are all but the same; what they are said of is not."""
    assert first(one)[0] != first(other)[0]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("indicators don't flash", "steady-turn-lamps"),
        ("indicators don\u2019t flash", "steady-turn-lamps"),
        ("indicators dont flash", "steady-turn-lamps"),
        ("INDICATORS DO NOT FLASH!!!", "steady-turn-lamps"),
        ("horn\u0000 dead\x1b[2J", "horn-silent"),
        ("\u200bhorn\n\n\tdead", "horn-silent"),
        ("h\u00f6rn dead", "horn-silent"),
        ("\uff28\uff2f\uff32\uff2e dead", "horn-silent"),
    ],
)
def test_apostrophes_capitals_and_control_characters_do_not_matter(text: str, name: str) -> None:
    """They come from the keyboard, not from the person."""
    assert first(text)[0] == name


@pytest.mark.parametrize("text", ["", "   ", "\x00\x07", "?!", "qzxjv wpkqz", "\u6c7d\u8f66", "'; --"])
def test_text_without_meaning_finds_nothing(text: str) -> None:
    """An invented match would send the job the wrong way from its first step."""
    assert find_symptoms(text, KNOW) == []
    assert circuits_like(text, KNOW) == []
    assert clear_winner(find_symptoms(text, KNOW)) is None


@pytest.mark.parametrize(
    "text",
    [
        "horn",
        "hooter",
        "turn signals",
        "indicators",
        "brake lights",
        "oil",
        "dynamo",
        "number plate lamp",
        "nothing works",
        "it does not work",
        "lights",
        "warning light",
    ],
)
def test_naming_a_thing_or_a_trouble_alone_is_not_a_symptom(text: str) -> None:
    """Then the person is asked which, or takes the circuit as a whole."""
    assert clear_winner(find_symptoms(text, KNOW)) is None


@pytest.mark.parametrize(
    ("text", "circuit"),
    [
        ("horn", "horn"),
        ("hooter", "horn"),
        ("turn signals", "turn-signals"),
        ("blinkers", "turn-signals"),
        ("hazzards", "turn-signals"),
        ("brake lights", "stop-lamps"),
        ("tail lamps", "stop-lamps"),
        ("number plate lite", "stop-lamps"),
        ("charging", "charge-warning"),
        ("dynamo", "charge-warning"),
        ("oil pressure", "oil-warning"),
        ("oil light", "oil-warning"),
        ("hooter is dead", "horn"),
    ],
)
def test_a_thing_names_its_circuit(text: str, circuit: str) -> None:
    """`horn` is enough to prove the horn circuit from end to end."""
    matches = circuits_like(text, KNOW)
    assert matches[0].id == circuit
    assert matches[0].title == KNOW.circuits[circuit].title


def test_circuits_are_those_of_the_vehicle() -> None:
    """Supply and shared files are no circuit to prove."""
    texts = [text for text, _ in SAID] + ["battery and main earth", "faults in several circuits"]
    found = {match.id for text in texts for match in circuits_like(text, KNOW, 9)}
    assert found == set(KNOW.vehicle.circuits)


def test_scores_fall_and_the_limit_is_kept() -> None:
    """The list is shown in this order and at most this long."""
    matches = find_symptoms("brake light does not work", KNOW, 5)
    assert len(matches) == 5
    assert [match.score for match in matches] == sorted((match.score for match in matches), reverse=True)
    assert find_symptoms("brake light does not work", KNOW, 2) == matches[:2]
    assert find_symptoms("brake light does not work", KNOW, 0) == []
    assert all(match.title == KNOW.symptoms[match.id].title for match in matches)


def test_clear_winner_needs_a_likely_first_and_a_lead() -> None:
    """Near ties are the person's to decide."""
    sure, close, far = Match("a", "A", 80.0), Match("b", "B", 78.0), Match("b", "B", 40.0)
    weak = Match("a", "A", 20.0)
    assert clear_winner([]) is None
    assert clear_winner([sure]) == "a"
    assert clear_winner([sure, far]) == "a"
    assert clear_winner([sure, close]) is None
    assert clear_winner([weak]) is None


def test_only_the_beginning_of_a_long_text_is_read() -> None:
    """So that a pasted book costs no more than a paragraph."""
    start = "horn dead " + "z" * LONGEST_TEXT
    assert find_symptoms(start + " brake lights stay on" * 500, KNOW) == find_symptoms(start, KNOW)
    for text in ("x" * 10_000, "indicator " * 1_000, "qzxjv " * 2_000, "\x00" * 10_000, "no " * 5_000):
        assert len(find_symptoms(text, KNOW)) <= 5


@settings(deadline=None, max_examples=60)
@given(
    st.one_of(
        st.text(max_size=80),
        st.lists(
            st.sampled_from(
                [
                    "no",
                    "not",
                    "and",
                    "but",
                    ",",
                    "only",
                    "one",
                    "horn",
                    "dead",
                    "on",
                    "off",
                    "light",
                    "go",
                    "out",
                    "blnker",
                ]
            ),
            max_size=12,
        ).map(" ".join),
    )
)
def test_any_text_gives_scores_between_0_and_100(text: str) -> None:
    """Whatever is typed, the conversation goes on."""
    for match in (*find_symptoms(text, KNOW), *circuits_like(text, KNOW)):
        assert 0 < match.score <= 100
