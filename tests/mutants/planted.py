"""The table of planted mistakes. Each is one that a tired hand could make; none may pass the quick tests.

`tests` are those that stand next to the mistake and run first; where they pass, all quick tests run.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Mistake:
    """In `file`, the one place that reads `old` reads `new`."""

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


_RULE = ("tests/service/test_rule.py", "tests/service/test_small_rules.py", "tests/service/test_converge.py")
_LEDGER = ("tests/test_ledger.py", "tests/service/test_migration.py", "tests/service/test_converge.py")
_STORE = ("tests/files", "tests/test_job.py")
_COLOUR = ("tests/reference", "tests/files/test_conversion.py")


def _all(file: str, tests: tuple[str, ...], *rows: tuple[str, str, str]) -> tuple[Mistake, ...]:
    return tuple(Mistake(name, file, old, new, tests) for name, old, new in rows)


PLANTED: tuple[Mistake, ...] = (
    *_all(
        "autoprep/job/credentials.py", ("tests/files/test_credentials.py",),
        ("a crop is not told", '("c2pa.cropped", "to the work\'s own outline", not whole and not scene)', '("c2pa.cropped", "to the work\'s own outline", whole and not scene)'),
        ("a desk is told that is not shown", '"to the work and the desk around it", scene)', '"to the work and the desk around it", not scene)'),
        ("corrected colours are not told", "done = [*_geometry(plan, layout), *_colour(plan), *_finish", "done = [*_geometry(plan, layout), *_finish"),
        ("what machines may not do is told as allowed", '"notAllowed" if name in _FORBIDDEN[mining] else "allowed"', '"allowed" if name in _FORBIDDEN[mining] else "allowed"'),
        ("a key made here is told as the artist's own", "if settings.credentials.key:", "if not settings.credentials.key:"),
    ),
    *_all(
        "autoprep/files/credentials.py", ("tests/files/test_credentials.py",),
        ("a certificate made here says nothing of it", "(made locally, unverified)", ""),
        ("the signer may not sign", '{"digital_signature": True}', '{"key_agreement": True}'),
        ("a preview goes along", '{"enabled": False}', '{"enabled": True}'),
    ),
    Mistake("credentials are not counted among the bytes", "autoprep/job/delivery.py", "return data if sign is None else sign(data)", "return data", ("tests/files/test_credentials.py",)),
    Mistake("others may read the key", "autoprep/cli/studio.py", "0o600", "0o644", ("tests/files/test_credentials.py",)),
    Mistake("credentials that come along are not told", "autoprep/files/reading.py", "if MARKER in data:", "if not data:", ("tests/files/test_credentials.py",)),
    Mistake("a missing key is noticed late", "autoprep/wishes/settings.py", "    if not keyless:", "    if keyless:", ("tests/files/test_credentials.py",)),
    Mistake("the camera is told unasked", "autoprep/job/delivery.py", 'seen.device if preset.camera else ("", "", "")', "seen.device", ("tests/test_job.py",)),
    Mistake("the camera is never told", "autoprep/job/delivery.py", 'seen.device if preset.camera else ("", "", "")', '("", "", "")', ("tests/test_job.py",)),
    Mistake("a blind file may tell the camera", "autoprep/wishes/destinations.py", 'if self.rights == "none" and getattr(self, key):', "if False:", ("tests/test_settings.py",)),
    Mistake("every photo is one shot", "autoprep/files/reading.py", "_OF_SEVERAL = 0xA460, (2, 3)", "_OF_SEVERAL = 0xA460, (4,)", ("tests/files/test_reading.py",)),
    Mistake("several shots are not told", "autoprep/metadata/statement.py", '"computationalCapture" if shot.composite', '"digitalCapture" if shot.composite', ("tests/metadata",)),
    Mistake("the lens stands in the main directory", "autoprep/metadata/exif.py", "return tag < _FIRST_OF_CAMERA", "return True", ("tests/metadata",)),
    Mistake("cut words are not told", "autoprep/metadata/iim.py", "> ids.iim_bytes\n", "> 9999\n", ("tests/metadata",)),
    *_all(
        "autoprep/rendering/continued.py", ("tests/rendering/test_continued.py",),
        ("the ground has no grain", "ground += grain[y % _TILE :, x % _TILE :][: ground.shape[0], : ground.shape[1]]", "pass"),
        ("the ground has one tone", "ground = _stretched(tone, box, (width, height))", "ground = 0 * _stretched(tone, box, (width, height))"),
        ("the grain is as long across as down", "np.fft.rfft2(rest[..., c], (_TILE, _TILE))", "np.fft.rfft2(rest[..., c].T, (_TILE, _TILE))"),
        ("the grain is too strong", "/ np.sqrt(energy)", "/ np.sqrt(energy / 3)"),
        ("a wash runs into the ground", "        bare &= np.abs(apart", "        bare |= np.abs(apart"),
        ("the tone goes on from far away", "_REACHES = (27.0, 9.0, 3.0, 1.5)", "_REACHES = (1.5, 3.0, 9.0, 27.0)"),
        ("torn edges are cut hard", "inside += 1 - cover[", "inside += 0 * cover["),
        ("grain is taken from anywhere", "if covered and np.abs(part - middle).max() < _BARE", "if covered and np.abs(part - middle).max() < 9"),
    ),
    Mistake("paper ground is a flat one", "autoprep/job/delivery.py", 'continued=preset.ground == "paper" and', 'continued=preset.ground == "white" and', ("tests/rendering/test_continued.py",)),
    Mistake("every ground is continued", "autoprep/job/delivery.py", 'continued=preset.ground == "paper" and', "continued=", ("tests/rendering/test_continued.py",)),
    *_all(
        "autoprep/files/conversion.py", _COLOUR,
        ("lcms takes shortcuts", "flags = _EXACT | (", "flags = ("),
        ("a lab's file is always 8 bits", 'outdtype=f"uint{bits}"', 'outdtype="uint8"'),
        ("total ink is that of three inks", "total = inks.sum(axis=-1", "total = inks[..., :3].sum(axis=-1"),
        ("total ink is the median", "np.percentile(total, _MOST_INK_SHARE)", "np.percentile(total, 50)"),
    ),
    *_all(
        "autoprep/imaging/transfer.py", _COLOUR,
        ("the archives' curve has no straight part", "np.where(linear > CIE_EPSILON, 1.16", "np.where(linear > 0, 1.16"),
        ("the archives' curve is a power", 'if gamma == "L*":\n        return np.asarray(np.where(linear > CIE_EPSILON, 1.16 * np.cbrt(linear) - 0.16, linear * (CIE_KAPPA / 100)))', 'if gamma == "L*":\n        return np.asarray(linear ** (1 / 2.4))'),
    ),
    *_all(
        "autoprep/files/icc.py", _COLOUR,
        ("the archives' space is white at D65", '"L*", white_d50=True', '"L*", white_d50=False'),
        ("the profile of the archives' space has another curve", "0.16 / 1.16, 100 / CIE_KAPPA, 0.08", "0.0, 100 / CIE_KAPPA, 0.08"),
    ),
    Mistake("into a lab's profile go 8 bits", "autoprep/job/delivery.py", "bits=16 if preset.profile else preset.bits", "bits=preset.bits if not preset.profile else 8", ("tests/files/test_conversion.py",)),
    *_all(
        "autoprep/told/paper.py", ("tests/told/test_paper.py",),
        ("a list's picture says not what it shows", "px_high * scale, alt_text=row.words or row.caption)", "px_high * scale)"),
        ("a long text runs over the next entry", "return lines if len(lines) <= most else", "return lines if lines else"),
        ("wide colours are taken for the page's own", "small = _as_screens_show(upright)", 'small = upright.convert("RGB")'),
        ("a list has no price", "if row.price:\n        pdf.set_xy", "if not row.price:\n        pdf.set_xy"),
    ),
    *_all(
        "autoprep/service/studio.py", ("tests/told/test_paper.py", "tests/told/test_works.py"),
        ("a blind list with pictures names the artist", 'artist = settings.artist.name if preset.rights == "full" else ""\n    rows = [', "artist = settings.artist.name\n    rows = ["),
        ("a list with pictures is made at each start", "if not ours.holds(folder, \".pdf\", made_of):", "if True:"),
        ("a list with pictures keeps old words", "told = [(row.number, row.caption, row.words,", "told = [(row.number, row.words,"),
        ("the list with pictures stays as it was", "            self._due.add(name)\n", ""),
        ("a list with pictures is dated by the clock", "made=made, fonts=fonts", "made=datetime.now(UTC), fonts=fonts"),
    ),
    *_all(
        "autoprep/rendering/render.py", ("tests/rendering/test_render.py",),
        ("crop marks stand inside the cut", "before = (thin + 1) // 2", "before = 0"),
        ("the edge for crop marks is not white", "edge[:] = paper", "edge[:] = paper // 2"),
    ),
    *_all(
        "autoprep/rendering/layout.py", ("tests/rendering/test_render.py",),
        ("crop marks start in the bleed", "return max(0.0, MARK_OFFSET_MM - self.bleed_mm) + MARK_LENGTH_MM", "return MARK_LENGTH_MM - self.bleed_mm"),
        ("crop marks keep no distance from the trim", "max(0.0, MARK_OFFSET_MM - self.bleed_mm) + MARK_LENGTH_MM", "MARK_LENGTH_MM"),
    ),
    *_all(
        "autoprep/rendering/legible.py", ("tests/rendering/test_mark.py",),
        ("a mark is as strong as it is said to be, read or not", "if at_once.contrast >= (LEAST[wanted] if light == first else least):", "if at_once.contrast > 0:"),
        ("a mark asked to be readable is quiet", "least = LEAST[wanted] * _AIM", 'least = LEAST["quiet"] * _AIM'),
        ("a mark half of which is lost counts as read", "return min(found, default=1.0)", "return max(found, default=1.0)"),
        ("a mark has no seam", "seam = _seamed(under, mask, not first)", "seam = under"),
        ("a mark is always as strong as can be", "low, high = (low, middle) if", "low, high = (middle, high) if"),
        ("contrast is that of the codes", "luminance = np.asarray(srgb_to_linear(codes) @ LUMA[0], np.float32)", "luminance = np.asarray(codes @ LUMA[0], np.float32)"),
    ),
    *_all(
        "autoprep/files/bag.py", ("tests/files/test_bag.py", "tests/test_bag_command.py"),
        ("a bag counts its list of works not", "octets += size", "octets += size if item.sha256 else 0"),
        ("a bag vouches for its manifest not", "for name, text in tags.items()]\n", "for name, text in tags.items() if name != _MANIFEST]\n"),
        ("a file that changed goes into a bag", "if item.sha256 and digest.hexdigest() != item.sha256:", "if not item.sha256 and item.sha256:"),
        ("a percent sign in a bag stays", ".replace('%', '%25')", ""),
        ("a broken bag is left behind", "    except DeliveryError:\n        shutil.rmtree(part, ignore_errors=True)\n", "    except DeliveryError:\n"),
    ),
    *_all(
        "autoprep/cli/bag.py", ("tests/test_bag_command.py",),
        ("a blind bag names the artist", "*([] if blind else whose),", "*whose,"),
        ("a blind bag's list names the artist", 'artist = settings.artist.name if preset.rights == "full" else ""', "artist = settings.artist.name"),
        ("a bag holds all again", "held = set() if options.all else held_in(folder)", "held = set()"),
        ("a damaged picture goes into a bag", "        if found == entry.output.sha256:", "        if found:"),
    ),
    Mistake("a bag of a month holds all", "autoprep/ledger/overview.py", "\"AND substr(j.came, 1, length(?2)) = ?2\"", "\"AND ?2 = ?2\"", ("tests/test_bag_command.py",)),
    *_all(
        "autoprep/service/rule.py", _RULE,
        ("hold is ignored", "or known.said.hold or not is_shown", "or not is_shown"),
        ("an alternate is given out", "return known.view.job == best or known.view.chosen", "return True or known.view.chosen"),
        ("a take that was chosen is taken back", "or known.view.chosen or bool(known.redo)", "or bool(known.redo)"),
        ("a redo of an alternate shows nothing", "known.view.chosen or bool(known.redo)", "known.view.chosen"),
        ("usual destinations win over those it was sent to", "known.said.destinations or view.usual", "view.usual or known.said.destinations"),
        ("what was asked for is forgotten", "*asked, *known.redo}", "*known.redo}"),
        ("the later of two like takes is used", "(best.merit or 0.0) + CLEARLY_BETTER", "(best.merit or 0.0) - CLEARLY_BETTER"),
        ("takes count from the newest", "key=lambda view: view.number):\n        if not view.plan", "key=lambda view: -view.number):\n        if not view.plan"),
        ("a question is a take", 'view.outcome not in ("ready", "alternate"):\n            continue', 'view.outcome not in ("ready", "alternate", "needs a look"):\n            continue'),
        ("the plan does not count", "if made.plan != known.view.plan:", "if False:"),
        ("words do not count", "if word in TOLD and told_now(known, word) != was]", "if word in TOLD and False]"),
        ("a withdrawn file comes back with old words", 'made.state == "withdrawn" and not _stale(known, name)', 'made.state == "withdrawn"'),
        ("what was picked up is made again", 'return made is not None and made.state == "withdrawn"', 'return made is not None and made.state in ("withdrawn", "picked up")'),
        ("a photo that is away is measured", "if anew is not None and known.present:", "if anew is not None:"),
        ("a photo that is away is rendered", "if stale and known.present:", "if stale:"),
        ("a table that went away takes its files along", "if taken_back else []", "if True else []"),
        ("paper is not measured anew", '"kind", "paper", "keep_paper", "lighter"', '"kind", "keep_paper", "lighter"'),
        ("words of a work do not wake a photo without one", 'view.outcome == "no work seen" and said.says_work', "False and said.says_work"),
        ("a moved photo's record stays old", "return view.unwritten or outcome != view.outcome or", "return outcome != view.outcome or"),
        ("telling forgets what was measured", "return known.said.model_copy(update=kept)", "return known.said"),
        ("an answer is not used", "if known.answer is not None:", "if False and known.answer is not None:"),
    ),
    *_all(
        "autoprep/service/hands.py", _RULE,
        ("an edited picture is overwritten", "if not is_ours(row.path, *known):", "if False and not is_ours(row.path, *known):"),
        ("the old name stays beside the new one", "take_out(self.settings, job.job, old)\n        known", "pass\n        known"),
        ("a worse take is published", "if final in finals and not shown:", "if False:"),
        ("an alternate asked for is not kept", '{"chosen": True} if job.outcome == "alternate"', '{} if job.outcome == "alternate"'),
        ("an answered outline is found anew", "return record.outline, job.answered", "return None, False"),
        ("a redo's destination is forgotten", "asked=base.asked or (name in before and before[name].asked)", "asked=False"),
        ("held files are listed as outputs", 'row.state == "picked up" and row.destination in goal', 'row.state in ("picked up", "withdrawn")'),
        ("takes of every kind are joined", "and same_work(other.record, record):", "and True:"),
    ),
    *_all(
        "autoprep/service/keeping.py", _RULE,
        ("an edited picture is moved away", "if is_ours(rendition.path, rendition.output.sha256):\n        _move", "if rendition.path.exists():\n        _move"),
        ("what comes back overwrites", "    if os.path.lexists(place):\n        place = next_free", "    if False:\n        place = next_free"),
    ),
    *_all(
        "autoprep/service/knowledge.py", _RULE,
        ("notes that are away are unsaid", 'if job in self._here or view.state != "done" else own_words(view.said)', "if True else view.said"),
        ("a copy steals the name", "if self._lines[job].path not in there]", "if self._lines[job].path in there]"),
    ),
    *_all(
        "autoprep/service/housekeeping.py", ("tests/service/test_history.py",),
        ("comparisons go by default", 'isoformat() if days else ""', "isoformat()"),
        ("pages show what was cleared away", "if cleared:\n", "if False:\n"),
    ),
    *_all(
        "autoprep/service/knowledge.py", ("tests/service/test_history.py",),
        ("every start works out everything", "self._was_here: Container[str] = frozenset(keys)", "self._was_here: Container[str] = frozenset()"),
        ("nothing is worked out at a start", "for job, line in self._lines.items() if not line.settled}\n", "for job, line in self._lines.items() if False}\n"),
        ("other settings work nothing out", "if ledger.kept(_BASIS) != _basis(settings):", "if False:"),
        ("what is left to do counts as settled", 'key = "" if left else', 'key = "" if False else'),
        ("all views are kept for ever", "self._views.pop(job, None)\n                self._said", "pass\n                self._said"),
    ),
    *_all(
        "autoprep/service/said.py", ("tests/service/test_reload.py", *_RULE),
        ("a photo sent to nowhere goes everywhere", "lost = bool(facts.destinations and not named)", "lost = False"),
        ("when asked is always", 'if preset.when == "always"]', "if True]"),
        ("other words are never read", "if known is None or known == key:", "if known is not None or known is None:"),
    ),
    *_all(
        "autoprep/service/depends.py", _RULE,
        ("a blind picture does not wait for its words", '_WATCHED = ("names the artist",)', "_WATCHED: tuple[str, ...] = ()"),
        ("the plan's digest is the kind's", "return \"\" if plan is None else _digest(plan.model_dump(mode=\"json\"))", "return \"\" if plan is None else plan.paper"),
    ),
    *_all(
        "autoprep/service/takes.py", ("tests/service/test_small_rules.py", "tests/service/test_takes.py"),
        ("takes of any day are joined", "<= _WITHIN\n", "<= _WITHIN * 10000\n"),
        ("takes of any shape are joined", "> _SAME_SHAPE:\n        return False", "> _SAME_SHAPE:\n        pass"),
        ("glare is no fault", '("glare_percent", 0.25,', '("glare_percent", 0.0,'),
        ("a blurred take is the sharper one", 'measures.get("work_long_side_px", 1.0) / max', 'measures.get("work_long_side_px", 1.0) * max'),
    ),
    *_all(
        "autoprep/service/arrivals.py", ("tests/service/test_small_rules.py", "tests/service/test_converge.py"),
        ("a growing file is taken", "elif not is_whole(file.data, kind):", "elif False:"),
        ("a link is followed", "if not item.plain or item.signature", "if item.signature"),
        ("what was set aside is never tried again", 'job.state == "done" and job.outcome == "set aside"', "False and job.outcome"),
        ("HEIC is taken where it is switched off", "and not self.settings.service.heic:", "and False:"),
    ),
    *_all(
        "autoprep/service/rebuild.py", ("tests/service/test_rebuild.py",),
        ("a sound ledger is made anew unasked", "if is_sound(settings) and not sound_too:", "if False:"),
        ("the old ledger is lost", "        place.replace(away)\n    except", "        place.unlink()\n    except"),
        ("takes come apart", 'record.take_of if record.take_of in records else job for', "job for"),
        ("withdrawn files are forgotten", "if folder.name in seen or file is None:", "if True:"),
        ("released works are made again", "words = _words(settings, record, folder.name, held=False)", "words = _words(settings, record, folder.name)"),
        ("questions are asked again", "if folder is not None:\n            asked", "if False:\n            asked"),
    ),
    *_all(
        "autoprep/files/damage.py", ("tests/files/test_damage.py", "tests/files/test_mutations.py"),
        ("a flat rectangle is no damage", "share = max(flat_part(codes), flat_rows(codes))", "share = flat_rows(codes)"),
        ("burnt-out paper is damage", "& (least(low) < 250)", "& (least(low) < 256)"),
        ("a dark corner is damage", "if sides and max(sides) < 0.5 else 0.0", "if sides else 0.0"),
        ("zeros that were appended are damage", 'return at > 0 and start > 0 and data.find(b"\\xff\\xd9", start, at) < 0', "return at > 0 and start > 0"),
        ("a hole in packed data is not seen", "(kind in _PACKED and _PACKED[kind] in data) or", "False or"),
        ("disturbed data is not asked about", 'if kind == "jpeg" and _COMPLAINT in _said_of(data):', "if False:"),
    ),
    *_all(
        "autoprep/job/story.py", ("tests/test_job.py",),
        ("one tone is a picture", "if is_flat(photo.codes):", "if False:"),
        ("a job without room keeps what it wrote", "part.unlink(missing_ok=True)\n        raise", "pass\n        raise"),
    ),
    *_all(
        "autoprep/service/notify.py", ("tests/service/test_notify.py",),
        ("the watchdog is fed too seldom", "_SHARE = 0.4", "_SHARE = 1.4"),
        ("another's watchdog is fed", "* _SHARE if mine and", "* _SHARE if True and"),
        ("a name without a file is not reached", 'if self._address.startswith("@") else', "if False else"),
    ),
    *_all(
        "autoprep/cli/work.py", ("tests/service/test_notify.py",),
        ("the end is not told", "        manager.stopping()\n", "        pass\n"),
    ),
    *_all(
        "autoprep/service/readiness.py", ("tests/service/test_readiness.py",),
        ("a closed folder is good", "_try_writing(place)\n        except", "pass\n        except"),
        ("a full disk is good", "if free < needed:", "if False:"),
        ("too few watches are good", "if folders > most or", "if False and"),
        ("a share is a good place", "if kind in _SHARES:", "if False:"),
        ("what can't be tried ends the check", "yield Finding(check.__name__", "raise\n            yield Finding(check.__name__"),
    ),
    *_all(
        "autoprep/service/lock.py", ("tests/service/test_lock.py",),
        ("a deleted lock lets another in", "fcntl.flock(self._folder, fcntl.LOCK_EX | fcntl.LOCK_NB)", "pass"),
        ("a deleted lock is not made again", "if not (self._records / \".lock\").exists():", "if False:"),
        ("another folder in the records' place goes unnoticed", "if (there.st_dev, there.st_ino) != (held.st_dev, held.st_ino):", "if False:"),
    ),
    *_all(
        "autoprep/service/lanes.py", ("tests/service/test_lanes.py",),
        ("long jobs hold every worker", "return max(1, self._size - 1)", "return self._size"),
        ("one worker gets no other beside a long job", "or not self._running_long() else 2", "or not self._running_long() else 1"),
        ("the earliest long job makes room", "return long[self._most_long :]", "return long[: len(long) - self._most_long]"),
        ("what was put back is begun again at once", "job not in self._long or len", "True or len"),
        ("on a slow machine everything is long", "max(_LONG_S, _LONG_FACTOR * usual)", "_LONG_S"),
    ),
    *_all(
        "autoprep/service/arrivals.py", ("tests/service/test_arrivals.py",),
        ("half a photo is read at every look", "== item.signature and self._waits(item):", "== item.signature and False:"),
        ("half a photo that grows is never read again", "if self._unfinished.get(item.path) == item.signature and", "if item.path in self._unfinished and"),
    ),
    *_all(
        "autoprep/service/desk.py", ("tests/service/test_small_rules.py", "tests/service/test_converge.py", "tests/service/test_everyday.py"),
        ("a fault of one photo ends the loop", "return False\n        return True\n\n    def room", "raise\n        return True\n\n    def room"),
        ("a full disk counts as a failed try", "if failure.full:", "if False:"),
        ("a failed photo is tried for ever", "final = not failure.retry or attempts", "final = False and attempts"),
        ("a mistake leaves no traceback", "if failure.trace:", "if False:"),
        ("work begins on a full disk", "return not self.full", "return True"),
    ),
    *_all(
        "autoprep/service/inbox.py", ("tests/service/test_small_rules.py", "tests/service/test_everyday.py"),
        ("a film beside its photo is a photo", "film = entry.name.lower().endswith(_FILM_ENDINGS) and", "film = False and"),
        ("hidden files are photos", 'return folded.startswith((".", "~"))', 'return folded.startswith("~")'),
        ("a placeholder is a photo", "hollow = blocks is not None and", "hollow = False and"),
        ("nothing settles", "ready = now - since >= self._settle_s and", "ready = now - since >= 0 and"),
    ),
    *_all(
        "autoprep/ledger/connection.py", _LEDGER,
        ("a failed transaction is committed", 'self._db.execute("ROLLBACK")', 'self._db.execute("COMMIT")'),
        ("no copy of an older ledger is kept", "if not 0 < version < len(MIGRATIONS):", "if True:"),
    ),
    *_all(
        "autoprep/ledger/names.py", _LEDGER,
        ("names differ by their capitals only", "normalize(\"NFC\", text).casefold()", "normalize(\"NFC\", text)"),
        ("names differ by how their letters are put together", 'normalize("NFC", text)', 'normalize("NFD", text) if False else (text)'),
    ),
    *_all(
        "autoprep/ledger/migrations.py", _LEDGER,
        ("a change of a photo leaves it settled", "UPDATE jobs SET settled = '' WHERE number = NEW.number AND settled <> '';", "SELECT 1;"),
        ("a take that goes leaves the others settled", "WHERE work = OLD.work AND OLD.work <> ''", "WHERE work = OLD.work AND 0"),
        ("a new file leaves its list old", "INSERT OR IGNORE INTO due VALUES ('list', NEW.destination, 0);\n    END;\n    CREATE TRIGGER file_changed", "SELECT 1;\n    END;\n    CREATE TRIGGER file_changed"),
        ("a photo that is tried again leaves its page old", "WHERE OLD.outcome IS NOT NEW.outcome;", "WHERE 0;"),
    ),
    *_all(
        "autoprep/ledger/overview.py", ("tests/test_ledger.py",),
        ("a list ends after its first part", "if len(rows) < _AT_ONCE:", "if True:"),
        ("a page shows other months too", "AND substr(jobs.came, 1, 7) = ? AND", "AND ? <> '' AND"),
        ("a copy is found before its photo", "ORDER BY outcome IS 'duplicate', number DESC", "ORDER BY outcome IS NOT 'duplicate', number DESC"),
        ("an alternate is listed", "WHERE r.destination = ?1 AND j.outcome = 'ready'", "WHERE r.destination = ?1"),
        ("what was written stays due", "DELETE FROM due WHERE kind = ? AND name = ? AND block = ?", "DELETE FROM due WHERE kind = ? AND name = ? AND block = ? AND 0"),
    ),
    *_all(
        "autoprep/ledger/book.py", _LEDGER,
        ("interruptions count as attempts", 'column = "attempts" if failed else "interrupted"', 'column = "attempts"'),
        ("jobs that were running are lost", "WHERE state = 'running'\"", "WHERE state = 'queued'\""),
    ),
    *_all(
        "autoprep/files/storage.py", _STORE,
        ("nothing is synced", "            os.fsync(handle.fileno())\n    except", "            pass\n    except"),
        ("names are not made durable", "        sync_folder(final.parent)\n", "        pass\n"),
        ("reserved names are given", "or kept.casefold().split(\" \")[0] in _RESERVED:", "or False:"),
        ("a file is written under its final name", "with part.open(\"wb\") as handle:", "with final.open(\"wb\") as handle:"),
    ),
    *_all(
        "autoprep/job/story.py", ("tests/test_job.py", "tests/service/test_converge.py"),
        ("glare holds nothing", "if preset.hold_for_glare and glare > words.GLARE_HOLDS_PERCENT:", "if False:"),
        ("hold is not told", "    if order.facts.hold:\n        return words.HOLD", "    if False:\n        return words.HOLD"),
        ("one destination's fault costs all", "            except Exception as problem:\n                # One", "            except ZeroDivisionError as problem:\n                # One"),
        ("whatever is seen is made", "outline.confidence < order.settings.correction.sure_enough:", "False:"),
        ("a scene is a work", 'chance < gate.NO_WORK and everything and', "False and everything and"),
        ("a wrong size is believed", "if abs(ratio / (size[0] / size[1]) - 1) <= _SIZE_AGREES:", "if True:"),
    ),
    *_all(
        "autoprep/wishes/blind.py", ("tests/service/test_converge.py", "tests/test_destinations.py"),
        ("no word names the artist", "        if any(part in word", "        if False and any(part in word"),
    ),
    *_all(
        "autoprep/told/lists.py", ("tests/test_listing.py",),
        ("a blind list gives the inventory", '*([work.inventory] if artist else []),', "work.inventory,"),
        ("cells are formulas", 'return f"\'{cell}" if', 'return cell if'),
    ),
    *_all(
        "autoprep/job/delivery.py", ("tests/test_destinations.py", "tests/test_job.py"),
        ("a blind file carries the name", "if preset.rights == \"none\":\n        return titled_only(work.facts) if preset.title else RightsStatement()", "if False:\n        return RightsStatement()"),
        ("a mark without a name", "if not preset.mark or (picture is None and unsaid):", "if not preset.mark:"),
        ("caps are ignored", "most=None if preset.max_kb is None else int(preset.max_kb * 1000),", "most=None,"),
    ),
    *_all(
        "autoprep/imaging/colour.py", _COLOUR,
        ("a and b are swapped in the fast Lab", "[500, -500, 0, 0], [0, 200, -200, 0]]", "[0, 200, -200, 0], [500, -500, 0, 0]]"),
        ("hue differences do not wrap", "np.where(difference > 180, difference - 360,", "np.where(difference > 180, difference,"),
    ),
    *_all(
        "autoprep/files/conversion.py", _COLOUR,
        ("black point is ignored", "(_BLACK_POINT if black_point else 0)", "0"),
        ("every intent is relative", "_INTENTS[intent], flags, bits)", "_INTENTS[\"relative\"], flags, bits)"),
    ),
    *_all(
        "autoprep/rendering/render.py", ("tests/rendering", "tests/test_job.py"),
        ("strips have no halo", "max(0, top - _HALO), min(size[1], bottom + _HALO)", "top, bottom"),
        ("bleed is not mirrored", "if out_left or out_top or out_right or out_bottom:", "if False:"),
    ),
    *_all(
        "autoprep/rendering/layout.py", ("tests/rendering", "tests/test_destinations.py"),
        ("whatever is small is enlarged", "if wanted > frame.max_enlarge * 1.0005:\n        scale, note", "if False:\n        scale, note"),
        ("prints do not turn to suit the work", "if (native[0] > native[1]) != (size_mm[0] > size_mm[1]):\n", "if False:\n"),
        ("bleed is on one side only", "side + 2 * frame.bleed_mm", "side + frame.bleed_mm"),
    ),
    *_all(
        "autoprep/correction/apply.py", ("tests/correction/test_contract.py", "tests/correction/test_bars.py", "tests/test_job.py"),
        ("light is put on instead of taken off", "np.exp(-_spread(", "np.exp(_spread("),
        ("the shoulder is a step", "    over *= np.float32(-room)\n", "    over *= np.float32(0)\n"),
        ("light is applied half a cell off", "(start - int(take[0]) * _GAIN_STEP_PX for", "(start - int(take[0]) * _GAIN_STEP_PX + 4 for"),
    ),
    *_all(
        "autoprep/correction/neutral.py", ("tests/correction", ),
        ("toned paper is made white", 'if paper_class == "toned":\n        return Declined', 'if False:\n        return Declined'),
        ("a tint that should stay goes", 'if wish == "keep":', "if False:"),
    ),
    *_all(
        "autoprep/correction/outline/gate.py", ("tests/correction/test_eye.py",),
        ("an eye of two minds is believed", "return value if _of_one_mind(witness) else min(value, DOUBTED)", "return value"),
        ("several works are passed as one", "and witness.chance >= _CHANCE and not witness.several\n\n\nWHOLE", "and witness.chance >= _CHANCE\n\n\nWHOLE"),
        ("the material decides against a firm eye", "return doubt and not firm and not", "return doubt and not"),
    ),
    *_all(
        "autoprep/correction/outline/ends.py", ("tests/correction/test_ends.py",),
        ("nothing is cut back", "if inside is not None and _is_sheet(inside, side):", "if False:"),
        ("a sheet on its desk is cut back", "if sum(cut) < _SIDES_CUT or look_inside", "if look_inside"),
        ("one sheet is cut back", " or look_inside(linear, quad, cut) is not None:", ":"),
        ("any strip is let out", "_STRIP, _HAIR = 0.07, 0.006", "_STRIP, _HAIR = 0.3, 0.006"),
        ("a sheet that lies whole is let out", "if sum(strip < _HAIR for strip in strips) < _SIDES_CUT:", "if False:"),
        ("nothing is let out", "if sides[side] or strips", "if True or strips"),
    ),
    *_all(
        "autoprep/correction/outline/material.py", ("tests/correction/test_ends.py",),
        ("a bare wall is a page", "and drawn >= _LEAST_DRAWN", ""),
        ("a thing on white is a page", "return sheet.colours <= _MOST_COLOURS and", "return"),
        ("a sheet of nearly its tone is the same paper", "_NO_STEP, _MOST_ALIKE = 0.02, 0.9", "_NO_STEP, _MOST_ALIKE = 0.08, 0.5"),
    ),
    *_all(
        "autoprep/correction/outline/gate.py", ("tests/correction/test_ends.py",),
        ("a sure eye is not believed alone", "if _supported(witness) or _sure_of_whole(witness):", "if _supported(witness):"),
        ("a less sure eye is believed alone", "_ALONE_VIEWS, _ALONE_UNDECIDED, _ALONE_CHANCE = 0.99, 0.03, 0.95", "_ALONE_VIEWS, _ALONE_UNDECIDED, _ALONE_CHANCE = 0.95, 0.14, 0.7"),
    ),
    *_all(
        "autoprep/correction/outline/finder.py", ("tests/correction/test_ends.py",),
        ("a page that nobody sees is no work", "if chance < gate.NO_WORK and is_drawn_page(self._copies.at(REFINING_PX)):", "if False:"),
        ("the whole page stays behind", "return _whole_first(doubted, photo.full_px) if is_drawn_page(copies.at(REFINING_PX)) else doubted, []", "return doubted, []"),
    ),
    *_all(
        "autoprep/correction/outline/candidates.py", ("tests/correction/test_ends.py",),
        ("the photo's border is no side", "some = cut.any(axis=1) & ~cut.all(axis=1)", "some = ~cut.any(axis=1)"),
    ),
    *_all(
        "autoprep/correction/outline/material.py", ("tests/correction/test_material.py",),
        ("a page ends nowhere", "if max(shares) > _MOST_OTHER:", "if False:"),
        ("a scene is a sheet", "whole.explained < _ALL_EXPLAINED or whole.rim < _RIM:", "False:"),
    ),
    *_all(
        "autoprep/service/rule.py", ("tests/service/test_converge.py", "tests/service/test_rule.py"),
        ("a hold beside a take that went away is for ever", 'and not (name == "hold" and own.released):', "and True:"),
        ("a held work is given out by its better take", '    "order", "hold",\n)  # fmt: skip\n_LABELS', '    "order",\n)  # fmt: skip\n_LABELS'),
        ("words that were taken over stay", '**{name: getattr(plain, name) for name in said.shared}', "**{}"),
        ("what is no work is looked at for ever", "said.says_work and not said.not_a_work:", "said.says_work:"),
    ),
    *_all(
        "autoprep/wishes/fonts.py", ("tests/test_fonts.py",),
        ("the first font stands in", "if _holds(font, absent[:1]) and _holds(font, absent):", "if _holds(font, absent[:1]):"),
        ("bold before plain", "any(word in font.stem.lower() for word in _NOT_PLAIN), ", ""),
    ),
    *_all(
        "autoprep/service/messages.py", ("tests/service/test_messages.py",),
        ("a worker speaks for all photos", "if said[kind] != order.job:", "if False:"),
        ("a worker hands over any file", "if not (_is_ordered(final, order) and _is_part_of(part, final)):", "if not _is_part_of(part, final):"),
        ("an original is a part", "name.startswith(PART_PREFIX) and name.endswith(PART_SUFFIX)", "True"),
        ("a record names any file", "    if strange:", "    if False:"),
    ),
    *_all(
        "autoprep/job/details.py", ("tests/test_details.py",),
        ("the faintest is the darkest", "((apart > _FAINTEST) & (apart < _FAINT))", "(apart > _FAINT)"),
        ("the lower corners are the upper ones", "(right, bottom), (left, bottom))", "(right, top), (left, top))"),
    ),
    *_all(
        "autoprep/wishes/mistakes.py", ("tests/test_settings.py",),
        ("only the first mistake is told", "for error in problem.errors():", "for error in problem.errors()[:1]:"),
    ),
    *_all(
        "autoprep/ledger/rows.py", ("tests/told/test_works.py",),
        ("a file is new with every word", "made = before.made if same and before is not None else when", "made = when"),
        ("it was never given out before", '(before.first if before is not None else "") or made', "made"),
    ),
    *_all(
        "autoprep/told/works.py", ("tests/told/test_works.py",),
        ("all destinations are public", "for name, preset in presets.items() if preset.public}", "for name in presets}"),
        ("nothing is missing", '        if sent.state != "in place":', "        if False:"),
    ),
    *_all(
        "autoprep/told/lists.py", ("tests/told/test_works.py",),
        ("numbers close up when one is missing", "return found if numbered else [", "return ["),
    ),
    *_all(
        "autoprep/service/questions.py", ("tests/service/test_questions.py",),
        ("an answer counts at once", "return now - self._pending[job][1] >= self._settle_s", "return True"),
        ("all deleted is no answer", "    if not left:\n        return NONE\n", "    if not left:\n        return None\n"),
        ("one choice is its own answer", "(question.choices > 1 or not none_left)", "True"),
    ),
    *_all(
        "autoprep/job/question.py", ("tests/service/test_questions.py",),
        ("what was refused is offered again", "for other in (*refused, *kept))", "for other in kept)"),
        ("others are offered for ever", "others = () if rests else apart(", "others = apart("),
    ),
    *_all(
        "autoprep/wishes/sizes.py", ("tests/test_words.py",),
        ("sizes are width x height", 'return {"size_mm": (b, a), "unit"', 'return {"size_mm": (a, b), "unit"'),
        ("parts of an inch are left out", "value += int(above) / int(below)", "value += 0"),
        ("a span of years is its first", 'said = f"{said}–{last}" if last', 'said = f"{said}" if last'),
    ),
    *_all(
        "autoprep/wishes/notes.py", ("tests/test_words.py", "tests/test_works.py"),
        ("the folder wins over the note", "folder_notes, folders, name, note, corner_notes, told)", "folder_notes, note, name, folders, corner_notes, told)"),
        ("a note at the top holds for every photo of that name", "if place == folder or meant == shown:", "if True:"),
        ("older corners hold", "sorted(found, key=lambda one: one[:2])", "sorted(found, key=lambda one: one[:2], reverse=True)"),
        ("what contradicts itself is not told", "            if was != holds:", "            if False:"),
    ),
    *_all(
        "autoprep/wishes/lines.py", ("tests/test_words.py", "tests/test_works.py"),
        ("hold: no holds", "return {name: text.lower() in _YES} if", "return {name: True} if"),
        ("darker is lighter", '"darker": lambda text: _stops(text, -1)', '"darker": lambda text: _stops(text, 1)'),
        ("lines without a colon belong to the one before", "(open_to in _LONG or line[0].isspace())", "True"),
    ),
    *_all(
        "autoprep/files/containers.py", ("tests/files/test_reading.py", "tests/service/test_everyday.py"),
        ("half a JPEG is whole", 'return data[at : at + 2] == b"\\xff\\xd9"', "return True"),
        ("half a PNG is whole", "return bool(at <= len(data))\n    return False", "return bool(at <= len(data))\n    return True"),
    ),
    *_all(
        "autoprep/metadata/exif.py", ("tests/metadata", "tests/test_destinations.py"),
        ("every profile is called sRGB", "1 if srgb else 0xFFFF", "1"),
        ("density per centimetre", "_INCH = 2", "_INCH = 3"),
    ),
    *_all(
        "autoprep/files/fitting.py", ("tests/files/test_fitting.py",),
        ("fixed sizes shrink", "if not limits.may_shrink or scale < _FLOOR:", "if scale < _FLOOR:"),
        ("the least quality is no floor", "min(quality, limits.least_quality)", "1"),
    ),
    *_all(
        "autoprep/service/knowledge.py", _RULE,
        ("an answer is used twice", "self._drop_answer(view.job)  # an answer", "pass  # an answer"),
        ("what was asked for while it was off is forgotten", "self._redos.keys() & self._lines.keys()", "set()"),
    ),
    *_all(
        "autoprep/service/hands.py", _RULE,
        ("a question loses its folder to another photo", "if job in running:", "if False:"),
    ),
    *_all(
        "autoprep/service/studio.py", _RULE,
        ("a list of the artist's is overwritten", "if not place.exists() or self._is_ours(place))", "if True)"),
    ),
    *_all(
        "autoprep/correction/planning.py", ("tests/test_repair.py",),
        ("works turn the other way", "corners[(k - quarters) % 4]", "corners[(k + quarters) % 4]"),
        ("as shot is corrected", "for _, step in () if wishes.as_shot else STEPS:", "for _, step in STEPS:"),
    ),
    *_all(
        "autoprep/job/story.py", ("tests/test_repair.py",),
        ("not a work is looked at all the same", "if order.facts.not_a_work:", "if False:"),
    ),
    *_all(
        "autoprep/files/damage.py", ("tests/files/test_damage.py",),
        ("a plain ground is damage", "if rows and _COMPLAINT in _said_of(data):", "if rows:"),
        ("an empty rest is whole", "if rows and _COMPLAINT in _said_of(data):", "if False:"),
    ),
    *_all(
        "autoprep/correction/outline/material.py", ("tests/correction/test_material.py",),
        ("a black lid is shade on a page", "if np.ptp(whole.log_light.mean(axis=-1)) > _DEEPEST_SHADE:", "if False:"),
    ),
    *_all(
        "autoprep/correction/outline/finder.py", ("tests/correction/test_eye.py",),
        ("a second work is no work", "_APART, _NOT_SMALL, _OTHER, _AS_LIKELY = 0.02, 0.08, 0.3, 0.025", "_APART, _NOT_SMALL, _OTHER, _AS_LIKELY = 0.02, 0.08, 0.3, 1.0"),
    ),
    *_all(
        "autoprep/imaging/lowpass.py", ("tests/rendering/test_sampling.py",),
        ("nothing is filtered", "    taps = np.concatenate", "    return None\n    taps = np.concatenate"),
        ("what halving took stays away", "wanted / np.maximum(halving_response(frequency, halvings), 0.1)", "wanted"),
        ("what the cubic takes stays away", "cubic_response(np.minimum(frequency, 0.5 / wide))", "1.0"),
    ),
    *_all(
        "autoprep/imaging/resample.py", ("tests/rendering/test_sampling.py", "tests/rendering/test_render.py"),
        ("one reduction for all of a strip", "for left, right in pairwise(edges):", "for left, right in ((0, width),):"),
        ("halved copies are off by half a pixel", "shift = 0.5 * self.scale if self.halvings else 0.5", "shift = 0.5"),
    ),
    *_all(
        "autoprep/cli/work.py", ("tests/test_progress.py",),
        ("a backlog can't be stopped", "while not engine.idle and not stopping:", "while not engine.idle:"),
        ("signals stay caught", "            signal.signal(number, handler)\n", "            pass\n"),
    ),
    *_all(
        "autoprep/logs.py", ("tests/test_logs.py",),
        ("the terminal tells every stage", '_FILE_ALONE = ("started", "stage")', "_FILE_ALONE = ()"),
    ),
    *_all(
        "autoprep/imaging/resample.py", ("tests/imaging",),
        ("rows of coordinates leave the lens out", "return (x, y) if self.lens.k1 == 0 else", "return (x, y) if True else"),
        ("beyond the border the map goes on", "across, down = np.clip(across, x0, x1), np.clip(down, y0, y1)", "pass"),
    ),
    *_all(
        "autoprep/correction/outline/close_up.py", ("tests/correction/test_close_up.py",),
        ("pieces of a close-up are laid off", "points - [x0, y0]", "points - [x0 + 1, y0]"),
        ("a close-up is cut at its points", "_RIM_PX = 4", "_RIM_PX = 0"),
    ),
    *_all(
        "autoprep/domain.py", ("tests/imaging",),
        ("a shared copy takes the place of the asked one", "self.reduced(first)._resized(self._small(factor))", "self.reduced(first)"),
    ),
    *_all(
        "autoprep/correction/camera.py", ("tests/correction/test_camera.py",),
        ("a photo is worked out anew for each that asks", "if steepness not in kept:", "if True:"),
    ),
    *_all(
        "autoprep/correction/planning.py", ("tests/correction/test_camera.py",),
        ("a work of another size is taken for the asked one", "kept[geometry, pixels] = Work(*_warped(photo, geometry, _measuring_size(photo, geometry, pixels), 0))", "kept[geometry, pixels] = Work(*_warped(photo, geometry, _measuring_size(photo, geometry, 1000), 0))"),
    ),
    *_all(
        "autoprep/correction/sharpening.py", ("tests/rendering/test_sampling.py",),
        ("small pictures are sharpened in full", "(1.0, 2.0), (1.0, _REDUCED)", "(1.0, 2.0), (1.0, 1.0)"),
    ),
    *_all(
        "autoprep/correction/rim.py", ("tests/correction/test_rim.py",),
        ("desk is never seen", "return int(changing.max()) + 1 if len(changing) else 0", "return 0"),
        ("sides are mixed up", "top, right, bottom, left = (min(max", "right, top, bottom, left = (min(max"),
        ("a painting's own edge is desk", "max(_SAME, _TIMES * own)", "0.3"),
    ),
    *_all(
        "autoprep/rendering/layout.py", ("tests/correction/test_rim.py",),
        ("a torn side frees all of desk", "-_FAR if torn[k] else", "-_FAR if plan.silhouette is not None else"),
    ),
    *_all(
        "autoprep/rendering/render.py", ("tests/correction/test_rim.py",),
        ("a torn edge is mirrored", "px if met and not ragged else 0", "px if met else 0"),
    ),
    *_all(
        "autoprep/rendering/mark.py", ("tests/rendering/test_mark.py",),
        ("signatures are looked for by light alone", "for plane in (luma, around[..., 0] - luma, around[..., 2] - luma):", "for plane in (luma,):"),
        ("grain is a signature", "_OF_GRAIN * float(np.quantile(stroke, _CALM_SHARE))", "0.0"),
        ("a faint signature is none", "stroke > max(_FAINT, min(_PLAIN,", "stroke > max(_PLAIN, min(_PLAIN,"),
    ),
    *_all(
        "autoprep/files/encoders.py", ("tests/files/test_encoders.py", "tests/metadata"),
        ("coloured hairlines turn grey", "how.quality >= _BYTES_COUNT_BELOW and _worst", "False and _worst"),
        ("all WebP is without loss", "> _LINES_LOST:", "> -1:"),
        ("the camera's directory is not moved", "struct.pack_into(\">I\", block, at + 8, value + start)", "pass"),
    ),
    *_all(
        "autoprep/metadata/exif.py", ("tests/metadata",),
        ("values stand at odd places", 'values += value + b"\\0" * (len(value) % 2)', "values += value"),
        ("the offset of the clock is lost", "if len(created) > 19:", "if False:"),
    ),
    *_all(
        "autoprep/metadata/iim.py", ("tests/metadata",),
        ("no digest", "for number, block in ((0x0404, data), (0x0425, digest))", "for number, block in ((0x0404, data),)"),
        ("a clock without an offset is told", "if len(digits) == 19:", "if len(digits) >= 14:"),
    ),
    *_all(
        "autoprep/job/delivery.py", ("tests/test_job.py", "tests/files/test_conversion.py"),
        ("the scale is never told", "    if size is None:\n        return None\n    _, _, width", "    if True:\n        return None\n    _, _, width"),
        ("what a jury asks for is scaled", "ppi = preset.ppi or (true and true * width / pixels.shape[1])", "ppi = (preset.ppi or true or 0) * width / pixels.shape[1]"),
        ("a wide photo passes sRGB", "(space.from_srgb() @ primaries[:, :3] > -_HAIR_OUTSIDE).all()", "True"),
    ),
    *_all(
        "autoprep/files/reading.py", ("tests/files/test_reading.py",),
        ("RAW is cut to sRGB", "output_color=rawpy.ColorSpace.ProPhoto,", "output_color=rawpy.ColorSpace.sRGB,"),
    ),
    *_all(
        "autoprep/wishes/destinations.py", ("tests/test_destinations.py",),
        ("a print of any size", "if size is not None and max(size)", "if False and max(size)"),
    ),
    *_all(
        "autoprep/rendering/render.py", ("tests/rendering/test_scene.py",),
        ("beyond the desk all is grey", "        _desk_runs_on(canvas, layout.shown)", "        pass"),
        ("each side has a tone of its own", "np.rint(np.mean(tones, axis=0))", "np.rint(tones.pop(0))"),
    ),
    *_all(
        "autoprep/rendering/layout.py", ("tests/rendering/test_scene.py",),
        ("a scene that is mostly bare says nothing", "    if bare > _MUCH_BARE:", "    if False:"),
        ("a scene that is full says it is bare", "    if bare > _MUCH_BARE:", "    if True:"),
    ),
    *_all(
        "autoprep/job/comparison.py", ("tests/test_job.py",),
        ("small copies are kept for ever", "        let_go(seen)", "        pass"),
    ),
    *_all(
        "autoprep/imaging/likeness.py", ("tests/imaging/test_likeness.py",),
        ("light is part of a drawing", "(drawn - cv2.GaussianBlur(drawn, (0, 0), _COARSER))", "drawn - drawn.mean() + 0 * drawn"),
        ("what agrees on the whole is the same", "return _in_parts(*_laid_over(a, b))", "return _correlation(a, b)"),
        ("takes are squared alike", "_SIDE, _FINER, _COARSER, _RIM, _SHIFT = 64, 0.8, 4.0, 2, 2", "_SIDE, _FINER, _COARSER, _RIM, _SHIFT = 64, 0.05, 4.0, 2, 0"),
        ("bare sheets are one work", "if counted.any() else 0.0", "if counted.any() else 1.0"),
        ("a broken likeness stops it", "except (ValueError, zlib.error):", "except KeyError:"),
    ),
    *_all(
        "autoprep/domain.py", ("tests/imaging/test_likeness.py",),
        ("an older likeness breaks the record", 'return given if isinstance(given, str) else ""', "return given"),
    ),
    *_all(
        "autoprep/correction/silhouette.py", ("tests/correction/test_silhouette.py",),
        ("a pattern is a torn edge", "_LOOKED_AT, _MOST_BACK = 0.008, 0.045", "_LOOKED_AT, _MOST_BACK = 0.008, 1.0"),
        ("a little at every side is nothing", " or sum(jag >= _ALSO_WANDERS for jag in jags) >= 3", ""),
        ("a little at one side is torn", "_WANDERS, _ALSO_WANDERS, _LEAST_OUTSIDE = 0.0015,", "_WANDERS, _ALSO_WANDERS, _LEAST_OUTSIDE = 0.0008,"),
        ("the photo's own pixels do not count", "max(_FRINGE_PX, _FRINGE_PHOTO_PX / photo_px)", "_FRINGE_PX"),
        ("any gap at a corner is a rounding", "return float(radius) if fits else 0.0", "return float(radius)"),
        ("a shadow in a corner is paper", "np.abs(np.log(patch / inside)).mean(-1) < _SHADED", "np.ones(patch.shape[:2], bool)"),
        ("corners are taken in the wrong order", "[corner] * (size - 2 * radius)", "[corner - 1] * (size - 2 * radius)"),
    ),
    *_all(
        "autoprep/service/lock.py", ("tests/service/test_lock.py",),
        ("a share without folder locks can't be used", "except OSError:  # some network", "except KeyError:  # some network"),
    ),
)  # fmt: skip
