"""Faulty set-up files: every defect with its exact place, its words and its one suggestion."""

import re

import pytest
from sound_file import SOUND, changed

from chain.errors import InputError
from chain.files import toml
from chain.files.setup_file import parse_setup

NO_CHANNEL_HELP = "give start and stop, or region and channels"
PAD_KEYS = (
    "near, far, reversed, reflection, series, shunt, loss, loss_tolerance, near_reflection, far_reflection, "
    "resistor_tolerance, reflection_kind, near_reflection_kind, far_reflection_kind"
)


def defects(text):
    """All defects of a text, or none."""
    raw = text if isinstance(text, bytes) else text.encode()
    try:
        parse_setup(raw, "a.toml")
    except InputError as error:
        return error.defects
    return ()


def test_the_sound_file_is_sound():
    assert defects(SOUND) == ()


@pytest.mark.parametrize(
    ("number", "line", "place", "message", "help_line"),
    [
        # Keys.
        (1, 'titel = "t"', (1, 1, 5), "'titel' is not a key of the set-up", "did you mean 'title'?"),
        (8, 'direktivity = "40 dB"', (8, 1, 11), "'direktivity' is not a key of [near]", "did you mean 'directivity'?"),
        (15, 'lenght = "0.6 m"', (15, 1, 6), "'lenght' is not a key of [[chain]]", "did you mean 'length'?"),
        (14, 'type = "rg59"', (14, 1, 4), "'type' is not a key of [[chain]]", "did you mean 'part'?"),
        (19, 'conector = "F-75 jack"', (19, 1, 8), "'conector' is not a key of [far]", "did you mean 'connector'?"),
        (3, 'strat = "174 MHz"', (3, 1, 5), "'strat' is not a key of [sweep]", "did you mean 'start'?"),
        (18, "[fra]", (18, 2, 3), "'fra' is not a key of the set-up", "did you mean 'far'?"),
        (10, None, (9, 1, 9), "id is missing", 'add id = "lead", a name of its own'),
        (11, None, (9, 1, 9), "part is missing", 'add part = "..." (chain parts lists them)'),
        (15, None, (12, 1, 9), "length is missing", 'add length = "0.6 m"'),
        (
            17,
            None,
            (12, 1, 9),
            "far is missing: coax has no connectors of its own",
            'add far = "BNC-75 plug" or what it has',
        ),
        (19, None, (18, 1, 5), "connector is missing", 'add connector = "F-75 jack"'),
        (4, None, (2, 1, 7), "stop is missing", 'add stop = "240 MHz"'),
        (
            11,
            'part = "min-loss-pad"\nlength = "1 m"',
            (12, 1, 6),
            "length does not apply to a pad",
            f"it takes {PAD_KEYS}",
        ),
        # Types.
        (1, "title = 3", (1, 9, 1), "a text is needed here, not a number", "put it in quotes"),
        (
            11,
            'part = "min-loss-pad"\nreversed = "yes"',
            (12, 12, 5),
            "true or false is needed here, not 'yes'",
            "write true or false, without quotes",
        ),
        (
            5,
            'points = "133"',
            (5, 10, 5),
            "a whole number is needed here, not '133' in quotes",
            "write it without quotes",
        ),
        (5, "points = 133.5", (5, 10, 5), "a whole number is needed here, not '133.5'", "leave the decimals out"),
        (
            15,
            'length = "0.6 m"\nvelocity_factor = "0.66"',
            (16, 19, 6),
            "a bare number is needed here, not '0.66' in quotes",
            "write it without quotes and without a unit",
        ),
        (
            15,
            'length = "0.6 m"\nvelocity_factor = 1.2',
            (16, 19, 3),
            "'1.2' is out of range: velocity_factor must be at most 1",
            "",
        ),
        (7, "connector = 5", (7, 13, 1), "a connector is needed here, not a number", 'write it as in "BNC-75 plug"'),
        (14, "part = 2026-01-01", (14, 8, 10), "a text is needed here, not a date or time", ""),
        (
            15,
            'length = "0.6 m"\nattenuation = "6 dB"',
            (16, 15, 6),
            "a table is needed here, not a text",
            "write it in { }",
        ),
        (
            15,
            'length = "0.6 m"\nattenuation = { flt = 1 }',
            (16, 17, 3),
            "'flt' is not a key of [chain.attenuation]",
            "did you mean 'flat'?",
        ),
        # Quantities.
        (15, "length = 0.6", (15, 10, 3), "'0.6' has no unit", 'write "0.6 m", in quotes, if that is meant'),
        (20, "limit = 2.0", (20, 9, 3), "'2.0' has no unit", 'write "VSWR 2.0", in quotes, if that is meant'),
        (
            15,
            'length = "0.6"',
            (15, 10, 5),
            "'0.6' has no unit",
            "write '0.6 m' if that is meant (m, cm, mm, um, in or ft)",
        ),
        (15, 'length = "0,6 m"', (15, 10, 7), "decimal comma in '0,6 m'", "write '0.6 m'"),
        (3, 'start = "174 fhz"', (3, 9, 9), "'fhz' is no unit of frequency", "use Hz, kHz, MHz or GHz"),
        (3, 'start = "2 m"', (3, 9, 5), "'2 m' is a length; a frequency is needed", "write it as in '174 MHz'"),
        (
            8,
            'directivity = "-40 dB"',
            (8, 15, 8),
            "'-40 dB' is below zero: a return loss is given positive",
            "write '40 dB'",
        ),
        (15, "length = nan", (15, 10, 3), "'nan' is not a finite number", 'write it as in "0.6 m"'),
        (15, "length = -inf", (15, 10, 4), "'-inf' is not a finite number", 'write it as in "0.6 m"'),
        (15, 'length = "inf m"', (15, 10, 7), "'inf m' is not a finite number", "write it as in '0.6 m'"),
        (15, 'length = "0 m"', (15, 10, 5), "a lead needs a length above zero", "leave the item out if there is none"),
        (15, 'length = "0.6 m"\nvelocity_factor = nan', (16, 19, 3), "'nan' is not a finite number", ""),
        (20, 'limit = "VSWR 0.5"', (20, 9, 10), "'VSWR 0.5': a VSWR is never below 1", "write it as in 'VSWR 1.5'"),
        # Names.
        (14, 'part = "rg95"', (14, 8, 6), "the library has no part 'rg95'", None),
        (
            16,
            'near = "N male"',
            (16, 8, 8),
            "'N male': 50 or 75 ohm?",
            "write 'N-50 plug' or 'N-75 plug' (male is taken for plug, female for jack)",
        ),
        (
            16,
            'near = "BNC plug"',
            (16, 8, 10),
            "'BNC plug': 50 or 75 ohm?",
            "write 'BNC-50 plug' or 'BNC-75 plug'",
        ),
        (13, 'id = "pad"', (13, 6, 5), "id 'pad' is given twice", "give each item an id of its own"),
        (13, 'id = "near"', (13, 6, 6), "'near' is taken: it names an end of the chain", "choose another id"),
        (13, 'id = ""', (13, 6, 2), "this text must not be empty", ""),
        (22, 'plane = "paad"', (22, 9, 6), "no item has the id 'paad'", "did you mean 'pad'?"),
        (22, 'plane = "far"', (22, 9, 5), "no item has the id 'far'", "did you mean 'lead'?"),
        (22, 'known = ["lod"]', (22, 10, 5), "'lod' is no standard", "did you mean 'load'?"),
        (
            22,
            'swap_adapter = "rg59"',
            (22, 16, 6),
            "'rg59' is no adapter",
            "name the adapter that was exchanged after calibration",
        ),
        # Frequencies.
        (
            5,
            "points = 20002",
            (5, 10, 5),
            "'20002' is out of range: points must be at most 20001",
            "a sweep has 1 to 20001 points",
        ),
        (
            5,
            "points = 0",
            (5, 10, 1),
            "'0' is out of range: points must be at least 1",
            "a sweep has 1 to 20001 points",
        ),
        (
            5,
            "points = 99999999999999999999999",
            (5, 10, 23),
            "this number is out of range: points must be at most 20001",
            "a sweep has 1 to 20001 points",
        ),
        (
            4,
            'stop = "174 MHz"',
            (4, 8, 9),
            "stop does not lie above start",
            "swap the two, or state points = 1 for one frequency",
        ),
        (
            3,
            'start = "0.5 MHz"',
            (3, 9, 9),
            "below what 'lead' (RG-59B/U, M17/29-RG59) holds for: 1 MHz to 3 GHz",
            "raise it, or choose another part",
        ),
        # Pads.
        (
            11,
            'part = "min-loss-pad"\nseries = "43 ohm"\nloss = "6 dB"',
            (13, 1, 4),
            "loss follows from the resistors stated on this item",
            "give either series or loss",
        ),
        (
            11,
            'part = "min-loss-pad"\nreflection = [["2 GHz", "26 dB"], ["1 GHz", "23 dB"]]',
            (12, 14, 40),
            "the frequencies of this table do not rise",
            "put the lowest frequency first, each once",
        ),
        (
            11,
            'part = "min-loss-pad"\nreflection = { magnitude = "26 dB", known = "phase" }',
            (12, 14, 40),
            "this table is no reflection",
            'write { magnitude = "26 dB", known = "ring" } for a magnitude that was measured',
        ),
        (
            11,
            'part = "min-loss-pad"\nreflection = { magnitude = "0 dB", known = "ring" }',
            (12, 14, 38),
            "an end that is measured to reflect everything lets nothing pass",
            'write the magnitude that was measured, 0.1 dB or more, or the limit alone, as in "26 dB"',
        ),
        # Items that are no part of a chain.
        (
            11,
            'part = "load-f-plug"',
            (11, 8, 13),
            "'pad' ends a chain; nothing can follow it",
            "terminations belong on an arm of a splitter",
        ),
        (
            11,
            'part = "min-loss-pad"\ntouchstone = "x.s2p"',
            (12, 1, 10),
            "an item is either a part or a measured two-port",
            "leave one out",
        ),
        (
            11,
            'touchstone = "x.s2p"\nnear = "BNC-50 jack"\nfar = "BNC-75 jack"',
            (11, 14, 7),
            "there is no file 'x.s2p'",
            "the path starts at the set-up file",
        ),
        # Splitters.
        (
            11,
            'part = "splitter-2"',
            (9, 1, 9),
            "path is missing: which ports of the splitter the chain runs through",
            'add path = ["in", "out1"]',
        ),
        (
            11,
            'part = "splitter-2"\npath = ["in", "ot1"]',
            (12, 15, 5),
            "this splitter has no port 'ot1'",
            "its ports: in, out1, out2",
        ),
        (
            11,
            'part = "splitter-2"\npath = ["in", "out1"]\n[[chain.arm]]\nport = "in"\nend = "open"',
            (14, 8, 4),
            "port 'in' is on the path",
            "arms may hang on: out2",
        ),
        (
            11,
            'part = "splitter-2"\npath = ["in", "out1"]\n[[chain.arm]]\nport = "out2"\nend = "75"',
            (15, 7, 4),
            "'75' has no unit",
            "write '75 ohm' if that is meant (ohm or kohm)",
        ),
        (
            11,
            'part = "splitter-2"\npath = ["in", "out1"]\n[[chain.arm]]\nport = "out2"\nend = [{ id = "p", part = "min-loss-pad" }]',
            (15, 27, 14),
            "an arm ends in a load, an open or a short",
            "'chain parts termination' lists them",
        ),
        # Libraries.
        (
            1,
            'library = "mine.toml"',
            (1, 11, 11),
            "a list of files is needed here, not a text",
            'write ["my-parts.toml"]',
        ),
        (
            1,
            'library = ["mine.toml"]',
            (1, 12, 11),
            "there is no file 'mine.toml'",
            "the path starts at the set-up file",
        ),
        # Syntax.
        (15, "length = 0.6 m", (15, 10, 5), "text without quotes: '0.6 m'", 'write length = "0.6 m"'),
        (15, "length = “0.6 m”", (15, 10, 1), "typographic quotation mark", 'use the plain sign: "'),
        (5, "points : 3", (5, 8, 1), "a key and its value are joined by '=', not ':'", "write points = ..."),
        (15, "length = 470,5", (15, 10, 5), "decimal comma in '470,5'", "write 470.5"),
        (15, "length = 470,5 mm", (15, 10, 8), "decimal comma in '470,5 mm'", 'write "470.5 mm"'),
        (15, "length =", (15, 8, 1), "no value after '='", 'write length = "..."'),
        (15, 'length = "0.6 m', (15, 10, 6), "a text without its closing quote", 'write length = "0.6 m"'),
        (15, 'length = "0.6 m"\nlength = "0.7 m"', (16, 1, 6), "this key is given twice", "keep one of the two"),
        (21, "[far]", (21, 1, 5), "this table is given twice", "keep one of the two"),
    ],
)
def test_defect_in_its_place(number, line, place, message, help_line):
    found = defects(changed(number, line))
    assert len(found) == 1
    assert (found[0].line, found[0].column, found[0].width) == place
    assert message is None or found[0].message == message
    assert help_line is None or found[0].help == help_line


def test_a_frequency_above_a_part_names_it_at_stop():
    found = defects(SOUND.replace("240 MHz", "3.5 GHz"))
    assert [(each.line, each.column) for each in found] == [(4, 8), (4, 8)]
    assert "'pad' (minimum-loss pad 50/75, specification) holds for: up to 3 GHz" in found[0].message
    assert "'lead' (RG-59B/U, M17/29-RG59) holds for: 1 MHz to 3 GHz" in found[1].message


def test_a_region_and_a_span_exclude_each_other():
    found = defects(changed(5, 'region = "europe"\nchannels = "5"'))
    assert [(each.line, each.column, each.message, each.help) for each in found] == [
        (3, 1, "start and region cannot both be given", NO_CHANNEL_HELP),
        (4, 1, "stop and region cannot both be given", NO_CHANNEL_HELP),
    ]


def test_channels_that_are_not_there():
    text = SOUND.replace('start = "174 MHz"\nstop = "240 MHz"', 'region = "europa"\nchannels = "5-7"')
    assert [(each.line, each.column, each.help) for each in defects(text)] == [(3, 10, "did you mean 'europe'?")]
    text = SOUND.replace('start = "174 MHz"\nstop = "240 MHz"', 'region = "europe"\nchannels = "5-99"')
    assert [(each.line, each.column) for each in defects(text)] == [(4, 12)]
    text = SOUND.replace('start = "174 MHz"\nstop = "240 MHz"', 'region = "europe"')
    assert [(each.line, each.help) for each in defects(text)] == [(2, 'add channels = "5-12"')]


def test_nothing_between_near_and_far():
    start, stop = SOUND.index("[[chain]]"), SOUND.index("[far]")
    found = defects(SOUND[:start] + SOUND[stop:].replace('plane = "pad"', ""))
    assert [(each.line, each.column, each.message) for each in found] == [(9, 1, "nothing lies between near and far")]
    found = defects("chain = []\n" + SOUND[:start] + SOUND[stop:].replace('plane = "pad"', ""))
    assert [(each.line, each.column, each.message) for each in found] == [(1, 1, "nothing lies between near and far")]


def test_all_defects_at_once_and_in_file_order():
    text = (
        changed(3, 'start = "174 fhz"').replace('"0.6 m"', '"0,6 m"').replace("rg59", "rg95").replace("limit", "limt")
    )
    assert [each.line for each in defects(text)] == [3, 14, 15, 20]


def test_faults_of_syntax_do_not_hide_each_other_nor_the_rest():
    text = changed(3, "start = 174 MHz").replace('"0.6 m"', "0,6 m").replace("limit", "limt")
    assert [each.message for each in defects(text)] == [
        "text without quotes: '174 MHz'",
        "decimal comma in '0,6 m'",
        "'limt' is not a key of [far]",
    ]


def test_a_broken_id_is_not_held_against_the_plane():
    assert [each.line for each in defects(changed(10, "id = pad"))] == [10]


def test_whole_text_of_a_report():
    with pytest.raises(InputError) as caught:
        parse_setup(changed(15, 'lenght = "0.6 m"').replace('"240 MHz"', "nan").encode(), "dir/a.toml")
    assert str(caught.value).splitlines() == [
        "dir/a.toml:4:8: error: 'nan' is not a finite number",
        "  4 | stop = nan",
        "    |        ^^^",
        'help: write it as in "174 MHz"',
        "dir/a.toml:15:1: error: 'lenght' is not a key of [[chain]]",
        ' 15 | lenght = "0.6 m"',
        "    | ^^^^^^",
        "help: did you mean 'length'?",
        "2 errors in dir/a.toml",
    ]


@pytest.mark.parametrize("spelling", ["Cannot", "Can not"])
def test_both_spellings_of_the_parser_are_understood(monkeypatch, spelling):
    """Older parsers of TOML say `Can not` where newer ones say `Cannot`: the same place and words either way."""
    loads = toml.tomllib.loads

    def spelt(text):
        try:
            return loads(text)
        except ValueError as error:
            raise ValueError(re.sub("Can ?not", spelling, str(error))) from None

    monkeypatch.setattr(toml.tomllib, "loads", spelt)
    for text, place, words in (
        ("a = 1\n  a = 2\n", (2, 3), "this key is given twice"),
        ("[far]\n[far]\n", (2, 1), "this table is given twice"),
    ):
        _, (defect,), _ = toml.read_toml(text, "a.toml")
        assert (defect.line, defect.column, defect.message) == (*place, words)
