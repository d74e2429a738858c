"""Settings: what is wrong is named with file, line and the nearest known name."""

from importlib import resources
from pathlib import Path

import pytest
from PIL import Image

from autoprep.errors import ConfigError
from autoprep.wishes.places import metrics_path
from autoprep.wishes.settings import default_files, find_config, load


def studio(tmp_path: Path, main: str = "", destinations: str | None = None) -> Path:
    (tmp_path / "config").mkdir(exist_ok=True)
    config = tmp_path / "config" / "autoprep.toml"
    config.write_text(main, encoding="utf-8")
    text = "[a]\nlong_side_px = 800\n" if destinations is None else destinations
    (tmp_path / "config" / "destinations.toml").write_text(text, encoding="utf-8")
    return config


@pytest.mark.parametrize(
    ("main", "destinations", "words"),
    [
        ("\n[service]\nsetle_s = 3\n", None, ["autoprep.toml, line 3", "service.setle_s", "`settle_s`"]),
        ("[artst]\nname = 'x'\n", None, ["line 1", "unknown key `artst`", "`artist`"]),
        (
            "[service]\nworkers = -1\n",
            None,
            ["line 2", "`service.workers`: must be between 0 and 64"],
        ),
        ("[correction]\npaper = 'clear'\n", None, ["line 2", "must be 'clean' or 'keep'"]),
        ("[folders]\nready = 'inbox/ready'\n", None, ["inside the inbox"]),
        ("[rights]\nnotice = '{who}'\n", None, ["line 2", "rights.notice", "{artist}"]),
        ("[rights]\nnotice = '{artist.name}'\n", None, ["line 2", "rights.notice", "{artist}"]),
        ("[rights]\nnotice = '{artist[0]}'\n", None, ["line 2", "rights.notice", "{artist}"]),
        ("[rights]\nnotice = '{year:>2000000000}'\n", None, ["line 2", "rights.notice", "{artist}"]),
        ("[rights]\nnotice = '{artist!r}'\n", None, ["line 2", "rights.notice", "{artist}"]),
        ("[rights]\nnotice = '{artist'\n", None, ["line 2", "rights.notice", "{artist}"]),
        ("[mark]\nfont = 'none.ttf'\n", None, ["line 2", "no font file"]),
        ("[mark]\nfont = 'config/autoprep.toml'\n", None, ["line 2", "`mark.font` is no font that can be read"]),
        ("[mark]\npicture = 'config/autoprep.toml'\n", None, ["line 2", "`mark.picture` is no picture that can be"]),
        ("[folders]\ninbox = 'ready/a'\n", None, ["line 2", "folders.inbox lies inside", "come in as photos"]),
        ("[folders]\ninbox = 'ready/a/photos'\n", None, ["line 2", "folders.inbox lies inside"]),
        ("[folders]\ninbox = 'needs-a-look/in'\n", None, ["line 2", "folders.inbox lies inside"]),
        ("[folders]\ninbox = 'records/withdrawn'\n", None, ["line 2", "folders.inbox lies inside"]),
        (
            "[service]\nmetrics_file = 'config/destinations.toml'\n",
            None,
            ["line 2", "is another file, which would be written over"],
        ),
        ("[service\n", None, ["not valid TOML", "line 1"]),
        ("", "[site]\nlong_side_px = 9\nlong_side_px = 10\n", ["line 3", "`long_side_px` stands here for the second"]),
        ("", "[site]\nformat = jpeg\n", ["line 2", 'a text stands in quotes: `format = "jpeg"`']),
        ("", "[site]\nmark = False  # none\n", ["line 2", "small letters: `mark = false`"]),
        ("", "[site]\nppi = 2,5\n", ["line 2", "a point before its decimals: `ppi = 2.5`"]),
        ("", "[site]\nwidth_mm = 100 mm\n", ["line 2", "alone, without a unit: `width_mm = 100`"]),
        ("", "[site]\nwidth_mm = 21 cm\n", ["line 2", "`width_mm = 210`"]),
        ("", "[site]\nwidth_mm = 8 in\n", ["`width_mm = 203.2`"]),
        ("", "[site]\nmax_kb = 5 MB\n", ["`max_kb = 5000`"]),
        ("", "[site]\nmax_kb = 5 stops\n", ["a number stands alone, without a unit; this one is in kB"]),
        ("", "[site]\nmax_kb = 5,000\n", ["`max_kb = 5000`, or `max_kb = 5.000` where it parts"]),
        ("", '[site]\nkeywords = ["a", "b"\nmark = true\n', ["line 2", "the list that begins here is open"]),
        ("", '[site]\nkeywords = [\n"a",\nmark = false\n', ["line 2", "the list that begins here is open"]),
        ("", "[site]\nkeywords = [\n  sea,\n]\n", ["line 3", 'a text in a list stands in quotes: "sea"']),
        ("", '[site]\nname = """a\nmark = true\n\n', ["line 2", "the text that begins here is open"]),
        ("", '[site]\nname = """\nC:\\Users\n"""\n', ["is written twice"]),
        ("", "[site] # mine\n[b]\n[site] # again\n", ["line 3", "the table [site] stands here for the second"]),
        ("", "# a\u2028b\n[site]\nformat = jpeg\n", ["line 3", 'a text stands in quotes: `format = "jpeg"`']),
        ("", "[site]\nformat = jpeg\n\n\n", ["line 2", 'a text stands in quotes: `format = "jpeg"`']),
        ("", '[site]\nname = "{title}\n\n\n', ["line 2", "a quote of `name` is open"]),
        ("", "[site]\nname = \n", ["line 2", "`name` has no value behind the ="]),
        ("", '[site]\nname = "{title}\n', ["line 2", "a quote of `name` is open"]),
        ("", "[site]\nfor the web\n", ["line 2", "a line is `name = value`; a remark begins with #"]),
        ("", '[site]\nname = "{title}', ["line 2", "a quote of `name` is open"]),
        ("", "[site]\n[b]\n[site]\n", ["line 3", "the table [site] stands here for the second time"]),
        ("", "[a]\nlong_side_px = 800\nqualty = 3\n", ["destinations.toml, line 3", "a.qualty", "`quality`"]),
        (
            "",
            "[a]\nwidth_cm = 29.7\nheight_cm = '20'\nppi = 300\nqualty_cm = 3\n",
            [
                "line 2: unknown key `a.width_cm`; lengths are in mm: write `width_mm = 297`",
                "line 3: unknown key `a.height_cm`; lengths are in mm: write `height_mm`, and ten times the number",
                "line 5: unknown key `a.qualty_cm`; the nearest",
            ],
        ),
        ("", "[a]\nquality = 3\n", ["line 1", "give one size"]),
        ("", "[a]\nwidth_px = 100\n", ["go together"]),
        ("", "[a]\nlong_side_px = 9\n", ["line 2", "a.long_side_px"]),
        ("", "[a]\nlong_side_px = 90\nbits = 16\n", ["bits = 16"]),
        ("", "[a]\nwidth_in = 8\nheight_in = 10\n", ["ppi"]),
        ("", "[a]\nsize = 'work'\nppi = 300\nframing = 'scene'\n", ["line 1", "contradict each other: 1:1 the desk"]),
        ("", "[a]\nlong_side_px = 90\nsafe_mm = 3\n", ["safe_mm needs a size in mm"]),
        (
            "",
            "[a]\nlong_side_px = 16384\nformat = 'webp'\n",
            ["line 1", "16384 pixels are more than webp holds: 16383"],
        ),
        ("", "[a]\nwidth_mm = 700\nheight_mm = 90\nppi = 600\nformat = 'webp'\n", ["line 1", "16535 pixels"]),
        ("", "[a]\nwidth_mm = 90\nheight_mm = 60\nppi = 300\ncrop_marks = true\n", ["bleed_mm"]),
        ("", '[a]\nlong_side_px = 90\nrights = "none"\ncamera = true\n', ["camera = true contradict"]),
        ("", "[a]\nlong_side_px = 90\nname = '{nn} {who}'\n", ["line 3", "a.name", "{title}"]),
        ("", "[a]\nlong_side_px = 90\nname = '{last'\n", ["line 3", "braces"]),
        ("", "[a]\nlong_side_px = 90\nrights = 'none'\nname = '{last}'\n", ["nothing of the artist", "{last}"]),
        ("", "[a]\nlong_side_px = 90\nrights = 'none'\nname = '{title}'\n", ["nothing of the artist", "{title}"]),
        (
            "[artist]\nname = 'Wren Halloway'\n",
            "[a]\nlong_side_px = 90\nrights = 'none'\nname = 'wren-{nn}'\n",
            ["line 4", "holds your name"],
        ),
        ("", "[a]\nlong_side_px = 90\ncolour = 'prophoto'\n", ["line 3", "a.colour", "bits = 16"]),
        ("", "[a]\nlong_side_px = 90\nformat = 'png'\ncolour = 'eci-rgb'\n", ["line 4", "a.colour", "bits = 16"]),
        ("", "[a]\nlong_side_px = 90\nname = ''\n", ["line 3", "a.name", "can't be empty"]),
        ("", "[a]\nlong_side_px = 90\nname = ' '\n", ["line 3", "a.name", "can't be empty"]),
        (
            "",
            "[a]\nwidth_mm = 90\nheight_mm = 60\nppi = 300\nsafe_mm = 30\n",
            ["line 1", "safe_mm = 30", "leaves nothing of 60 mm"],
        ),
        ("", "[a]\nlong_side_px = 90\nmark = 'yes'\n", ["line 3", "true or false"]),
        ("", "[a]\nlong_side_px = 'big'\n", ["line 2", "whole number"]),
        ("", "[a]\nlong_side_px = 90\nformat = 'png'\nmax_kb = 90\n", ["max_kb goes with"]),
        ("", "[a]\nlong_side_px = 90\nmax_kb = 90\nmin_kb = 91\n", ["min_kb must be below"]),
        ("", "[a]\nlong_side_px = 90\nprofile = 'lab.txt'\n", ["line 3", ".icc"]),
        ("", "[a]\nlong_side_px = 90\nprofile = 'lab.icc'\n", ["line 3", "there is no colour profile"]),
        ("[mark]\npicture = 'none.png'\n", None, ["line 2", "no picture file"]),
        ("[service]\n\ncluster_tls = { ca = 5 }\n", None, ["line 3: `service.cluster_tls.ca`: must be text in quotes"]),
        ("", "[a]\nlong_side_px = 8\n", ["line 2: `a.long_side_px`: must be between 16 and "]),
        ("", "[a]\nlong_side_px = 90\nmargin_percent = 46\n", ["line 3: `a.margin_percent`: must be between 0 and 45"]),
        ("", "[a]\nlong_side_px = 90\nmax_kb = 0\n", ["line 3: `a.max_kb`: must be more than 0"]),
        ("", "[a]\nwidth_mm = 0\nheight_mm = 9\nppi = 90\n", ["must be more than 0, and 3000 at the most"]),
        ("", "[a]\nlong_side_px = 90\nground = 'blue'\n", ["line 3", "neutral"]),
        ("", '["../a"]\nlong_side_px = 90\n', ["letters, digits"]),
        ("", "[a]\nlong_side_px = 90\n[A]\nlong_side_px = 90\n", ["capitals"]),
        ("", "", ["no destination"]),
        ("", "[a]\nlong_side_px = 90\n[my shop]  # soon\n", ["line 3: [my shop]", "no blanks", "such as [my-shop]"]),
        ("", "[a]\nlong_side_px = 90\n[café]\n", ["line 3: [café]", "such as [cafe]"]),
        ("", "[a]\nlong_side_px = 90\n[§]\n", ["line 3: [§]", "no blanks"]),
        ("[artist]\nzzz = 'x'\n", None, ["unknown key `artist.zzz`; there are name, website"]),
    ],
)
def test_what_is_wrong_is_named(tmp_path: Path, main: str, destinations: str | None, words: list[str]) -> None:
    with pytest.raises(ConfigError) as caught:
        load(studio(tmp_path, main, destinations))
    for word in words:
        assert word in str(caught.value)


def test_a_mark_of_the_byte_order_at_the_start_is_no_mistake(tmp_path: Path) -> None:
    assert load(studio(tmp_path, "\ufeff# ours\n[artist]\nname = 'Wren'\n")).artist.name == "Wren"


def test_all_mistakes_are_told_at_once_each_with_its_line(tmp_path: Path) -> None:
    main = (
        "[mark]\nheight_percent = '2'\ncornr = 'auto'\n[service]\nsettle_s = -1\nheic = 'no'\n"
        "[rights]\nnotice = '{who}'\nkeywords = ['sea']\n"
    )
    destinations = "[a]\nwidth_in = '8'\nheight_in = 10\nppi = 300\n\n[b]\nlong_side_px = 900\nqualty = 3\n"
    with pytest.raises(ConfigError) as caught:
        load(studio(tmp_path, main, destinations))
    said = str(caught.value).splitlines()
    assert said[0] == "6 mistakes in the settings:"
    wanted = [
        ("autoprep.toml, line 2", "mark.height_percent", "a number, without quotes"),
        ("autoprep.toml, line 3", "cornr", "`corner`"),
        ("autoprep.toml, line 5", "service.settle_s", "0"),
        ("autoprep.toml, line 6", "service.heic", "true or false"),
        ("destinations.toml, line 2", "a.width_in", "a number, without quotes"),
        ("destinations.toml, line 8", "b.qualty", "`quality`"),
    ]
    for line, words in zip(said[1:], wanted, strict=True):
        assert all(word in line for word in words), line
    assert caught.value.line == 2


def test_curly_quotes_are_named_on_every_line_that_has_them(tmp_path: Path) -> None:
    with pytest.raises(ConfigError) as caught:
        load(studio(tmp_path, "[artist]\nname = “Wren Halloway”\nemail = 'a“b”@example.org'\nwebsite = “x”\n", None))
    said = str(caught.value)
    assert "line 2: curly quotes" in said
    assert "line 4: curly quotes" in said
    assert "line 3" not in said


def test_where_a_profile_belongs_is_said(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"put the file there") as caught:
        load(studio(tmp_path, "", "[a]\nlong_side_px = 90\nprofile = 'lab.icc'\n"))
    assert str(tmp_path) in str(caught.value)


def test_relative_paths_start_at_the_studio(tmp_path: Path) -> None:
    found = load(studio(tmp_path, "[folders]\ninbox = '../phone'\n"))
    assert found.folders.inbox.resolve() == (tmp_path.parent / "phone").resolve()
    assert found.folders.records == tmp_path / "records"


def test_the_studio_that_we_stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    config = studio(tmp_path)
    (tmp_path / "records").mkdir()
    (tmp_path / "inbox" / "trip").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "inbox" / "trip")
    assert find_config(None) == config
    assert find_config(tmp_path) == config
    monkeypatch.chdir("/")
    with pytest.raises(ConfigError, match="no studio folder"):
        find_config(None)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    config = studio(tmp_path)
    config.with_name("destinations.toml").unlink()
    with pytest.raises(ConfigError, match=r"destinations\.toml: this file is missing"):
        load(config)
    assert set(default_files()) == {"autoprep.toml", "destinations.toml", "destinations.schema.json"}


@pytest.mark.parametrize(
    ("artist", "name", "holds"),
    [
        ("Wren Halloway", "wren-{nn}", True),
        ("Ann Lee", "sleeves of the fleet {nn}", False),
        ("Ann Lee", "lee {nn}", True),
        ("Nana Title", "{nn} entry", False),
    ],
)
def test_a_blind_tables_names_hold_the_artists_by_the_rule_of_blind_pictures(
    tmp_path: Path, artist: str, name: str, holds: bool
) -> None:
    config = studio(
        tmp_path, f"[artist]\nname = '{artist}'\n", f"[a]\nlong_side_px = 90\nrights = 'none'\nname = '{name}'\n"
    )
    if holds:
        with pytest.raises(ConfigError, match="holds your name"):
            load(config)
    else:
        assert load(config).destinations["a"].name == name


def test_what_is_there_and_is_what_it_should_be_is_taken(tmp_path: Path) -> None:
    Image.new("RGB", (3, 3)).save(tmp_path / "mark.png")
    font = load(studio(tmp_path)).config_file.parents[1] / "mark.ttf"
    font.write_bytes((resources.files("autoprep") / "fonts" / "DejaVuSans.ttf").read_bytes())
    (tmp_path / "out.prom").write_text("# HELP autoprep_up Whether the service runs", encoding="utf-8")
    (tmp_path / "empty.prom").write_bytes(b"")
    for name in ("out.prom", "empty.prom", "none.prom"):
        main = f"[mark]\npicture = 'mark.png'\nfont = 'mark.ttf'\n[service]\nmetrics_file = '{name}'\n"
        assert load(studio(tmp_path, f"{main}[folders]\ninbox = 'ready/inbox'\n")).service.metrics_file == name


def test_a_blind_destination_of_a_new_studio_says_nothing_of_the_work(tmp_path: Path) -> None:
    files = default_files()
    blind = load(studio(tmp_path, files["autoprep.toml"], files["destinations.toml"])).destinations["submission-blind"]
    assert (blind.rights, blind.title, blind.mark, blind.camera, blind.name) == ("none", False, False, False, "{nn}")


def test_the_home_folder_is_meant_by_its_sign(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("USERPROFILE", str(tmp_path / "home"))
    (tmp_path / "home").mkdir()
    Image.new("RGB", (3, 3)).save(tmp_path / "home/mark.png")
    text = "[folders]\ninbox = '~/Pictures'\n[mark]\npicture = '~/mark.png'\n[service]\nmetrics_file = '~/m.prom'\n"
    settings = load(studio(tmp_path, text))
    assert settings.folders.inbox == tmp_path / "home/Pictures"
    assert settings.mark.picture == str(tmp_path / "home/mark.png")
    assert metrics_path(settings) == tmp_path / "home/m.prom"
    with pytest.raises(ConfigError, match=r"home.none\.icc"):
        load(studio(tmp_path, text, "[a]\nlong_side_px = 800\nprofile = '~/none.icc'\nmark = false\n"))
