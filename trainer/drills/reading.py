"""Text of a drill file -> `DrillSet`, or every fault of it at once.

Fields by table (``*`` must stand there); every drill field but chord and voicing may also stand at the top of the
file, as the default of all drills:

============  ===========================================================================================    values["passes"] = Passes(**passes)  # type: ignore[arg-type]  # each field was checked by its row in _PASSES
    drill = Drill(quality, wanted, form, **values)  # type: ignore[arg-type]  # likewise by DRILL_FIELDS
    return drill if _can_be_placed(checks, path, drill, rows) else NOTHING


def _quality(checks: Checks, path: Path, value: object) -> Quality | Nothing:
    text = checks.text(path, value, _CHORD, NAME_LETTERS, empty=True)
    if isinstance(text, Nothing):
        return NOTHING
    try:
        return parse_quality(text)
    except ChordError as error:
        try:
            whole = parse(text)
        except ChordError:
            whole = None
        if whole is not None and whole.root is not None and whole.bass is None:
            rest = whole.quality.text
            message = f'{shown(text)} names a root, {whole.root}; write the quality alone, "{rest}", and roots in roots'
            return checks.fault(path, text, _CHORD, message, letter=0)
        left, expected = text[error.at :], error.expected.removesuffix(", or a slash and a bass")
        why = f" ({error.reason})" if error.reason else ""
        where = f"{shown(left)} in {shown(text)}" if left else f"the end of {shown(text)}"
        message = f"{where} cannot be read{why}; here could stand {expected}"
        return checks.fault(path, text, expected, message, letter=error.at)


def _near(text: str, names: list[str]) -> str | None:
    by_plain = {plain_name(name): name for name in names}
    near = get_close_matches(plain_name(text), by_plain, n=1, cutoff=0.6)
    return by_plain[near[0]] if near else None


@lru_cache(maxsize=1024)
def _recipe_or_fault(text: str, quality: Quality, rows: tuple[VoicingRow, ...]) -> Recipe | VoicingError:
    """A refusal is remembered, too: looking for near names is slow, and a slip is often copied down a file."""
    try:
        return recipe(text, quality, rows)
    except VoicingError as error:
        return error


@lru_cache(maxsize=1024)
def _row_or_fault(text: str, rows: tuple[VoicingRow, ...]) -> VoicingRow | VoicingError:
    try:
        return row_for(text, rows)
    except VoicingError as error:
        return error


def _recipe(checks: Checks, path: Path, text: str, quality: Quality, rows: tuple[VoicingRow, ...]) -> Recipe | Nothing:
    error = _recipe_or_fault(text, quality, rows)
    if isinstance(error, Recipe):
        return error
    said = shown(quality.text) if quality.text else "a major triad"
    fitting = names_for(quality, rows)
    there = f"for {said} there are {'; '.join(fitting)}" if fitting else f"for {said} there is none by name"
    if error.at:  # a place inside the text: it was read as degrees
        return checks.fault(path, text, "degrees from the bottom note up", str(error), letter=error.at)
    in_family = {plain_name(family): members for family, members in families(rows).items()}.get(plain_name(text))
    if in_family is not None:
        forms = [row.name for row in in_family if row.name in fitting]
        better = f"name one of its forms: {listed(forms)}" if forms else there
        return checks.fault(path, text, there, f"{shown(text)} is a whole family; {better}")
    row = _row_or_fault(text, rows)
    if isinstance(row, VoicingError):
        if str(row) != str(error):  # it was not looked up as a name
            return checks.fault(path, text, _VOICING, str(error))
        near = None
        if len(checks.faults) < _MOST_REMEDIES:
            every = [*(row.name for row in (*all_rows(), *rows)), *checks.spoiled]
            near = _near(text, list(fitting)) or _near(text, every)
        if near is None and not error.near:
            return checks.fault(path, text, there, f"{shown(text)} is no voicing; write {_VOICING}")
        better = f'did you mean "{near or error.near[0]}"?'
        return checks.fault(path, text, there, f"{shown(text)} is no voicing; {better}")
    near = _near(row.name, list(fitting))
    better = f'did you mean "{near}"?' if near else there
    return checks.fault(path, text, there, f"{shown(row.name)} has no form for {said}; {better}")


def _misplaced(drill: Drill, roots: tuple[Note, ...]) -> list[tuple[Note, VoicingError]]:
    """The roots on which a drill's voicing has no place, each with the reason."""
    found = []
    for root in roots:
        try:
            place(drill.recipe, root, drill.register)
        except VoicingError as error:
            found.append((root, error))
    return found


def _can_be_placed(checks: Checks, path: Path, drill: Drill, rows: tuple[VoicingRow, ...]) -> bool:
    try:
        register_of(drill.recipe, drill.lowest, drill.highest, drill.reach_semitones, drill.limits)
    except VoicingError:
        low, high = (key_name(key) for key in (drill.lowest, drill.highest) if key is not None)
        where = (*path, "lowest") if (*path, "lowest") in checks.places.spots else (*path, "highest")
        where = where if where in checks.places.spots else ("lowest",)
        checks.fault(where, low, f"a key not above {high}", f"lowest ({low}) lies above highest ({high})")
        return False
    misplaced = _misplaced(drill, drill.pool)
    if not misplaced:
        return True
    first = misplaced[0][0]
    place_of = (*path, "voicing")
    if isinstance(drill.roots, tuple) and (*path, "roots") in checks.places.spots:
        place_of = (*path, "roots", drill.roots.index(first))
    named = "any root" if len(misplaced) == 12 else ", ".join(root.name for root, _ in misplaced)
    register = drill.register
    remedy = _remedy(drill, rows) if len(checks.faults) < _MOST_REMEDIES else None
    expected = remedy or "another voicing or a wider register"
    message = (
        f"{shown(drill.voicing)} cannot be placed on {named} from {register.text} with a reach of "
        f"{register.reach_semitones} semitones; {expected} would do"
    )
    checks.fault(place_of, drill.voicing, expected, message)
    return False


def _remedy(drill: Drill, rows: tuple[VoicingRow, ...]) -> str | None:
    """The smallest change with which every root of a drill can be placed, in the words of the file."""

    def fits(changed: Drill) -> bool:
        return not _misplaced(changed, drill.pool)

    register = drill.register
    higher = range(register.highest + 1, min(register.highest + 25, HIGHEST_PIANO_KEY + 1))
    width = span(stacked(drill.recipe.degrees), drill.recipe.optional)
    if drill.recipe.split is None and width > register.reach_semitones:
        shared = replace(drill, recipe=in_hand(drill.recipe, "both"), lowest=register.lowest)
        for highest in map(MidiNote, (register.highest, *higher)):
            if fits(replace(shared, highest=highest)):
                more = f' with highest = "{key_name(highest)}"' if highest > register.highest else ""
                return f'hand = "both"{more}'
    for highest in map(MidiNote, higher):
        if fits(replace(drill, lowest=register.lowest, highest=highest)):
            return f'highest = "{key_name(highest)}"'
    for reach in range(register.reach_semitones + 1, 25):
        if fits(replace(drill, reach_semitones=reach)):
            return f"reach_semitones = {reach}"
    for highest in map(MidiNote, higher):
        if register.limits is not None and fits(replace(drill, lowest=register.lowest, highest=highest, limits=False)):
            return f'limits = false with highest = "{key_name(highest)}"'
    for name in names_for(drill.quality, rows):
        other = in_hand(recipe(name, drill.quality, rows), drill.hand or "")
        if other.family == drill.recipe.family and fits(replace(drill, recipe=other)):
            return f'voicing = "{name}"'
    return None
