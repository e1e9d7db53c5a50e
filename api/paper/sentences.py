"""What the reckoning says in whole sentences, said in German.

The reckoning speaks English and knows nothing of paper. Each row is one of its
sentences with its gaps, and the German for it; a sentence that no row fits is
left in English. A gap may hold further sentences, words or figures.
"""

import re
from collections.abc import Callable, Iterator
from functools import lru_cache

from babel import Locale

from api.paper.sentences_parting import PARTING_SHEET

Figure = Callable[[str], str]

_GERMAN: tuple[tuple[str, str], ...] = (
    # notices
    (
        "{text} Local rules and licensed practice decide.",
        "{text} Örtliche Regeln und zugelassene Praxis entscheiden.",
    ),
    (
        "Nitric acid, aqua regia and their brown fumes burn skin, eyes and lungs. Work under extraction, "
        "with goggles, gloves and apron, add acid to water, keep a neutraliser at hand. Never bring ammonia "
        "near solutions of silver or gold: what dries may explode.",
        "Salpetersäure, Königswasser und ihre braunen Dämpfe verätzen Haut, Augen und Lunge. Unter Abzug "
        "arbeiten, mit Schutzbrille, Handschuhen und Schürze, Säure ins Wasser geben, ein Neutralisations"
        "mittel bereithalten. Nie Ammoniak in die Nähe von Silber- oder Goldlösungen bringen: was "
        "eintrocknet, kann explodieren.",
    ),
    (
        "Molten metal in a damp or cold mould spits. Warm and dry the mould, wear face shield, gloves and "
        "covered shoes.",
        "Flüssiges Metall spritzt in feuchter oder kalter Form. Form wärmen und trocknen, Gesichtsschutz, "
        "Handschuhe und geschlossene Schuhe tragen.",
    ),
    (
        "Charges and tax, {amount} {currency}, are more than the metal is worth.",
        "Entgelte und Steuer, {amount} {currency}, sind mehr, als das Metall wert ist.",
    ),
    (
        "Of {count} {metal} bars in line {line}, {sure} are covered even in the low case.",
        "Von {count} Barren ({metal}) der Zeile {line} sind {sure} auch im niedrigen Fall gedeckt.",
    ),
    (
        "Listed and weighed, on assay only, nothing reckoned yet: {names}.",
        "Aufgeführt und gewogen, nur nach Probe, noch nichts gerechnet: {names}.",
    ),
    (
        "The terms don't account for {metal}; it is listed only.",
        "Die Bedingungen rechnen {metal} nicht ab; es wird nur aufgeführt.",
    ),
    (
        "{metals} found: the lot is refined alone unless an owner says otherwise, and its silver is credited "
        "by an assay only.",
        "{metals} gefunden: der Posten wird allein raffiniert, wenn der Inhaber nichts anderes sagt, und "
        "sein Silber nur nach Probe gutgeschrieben.",
    ),
    (
        "A mark is a minimum in some laws and tolerated within limits in others; a stamp is a record, "
        "not a measurement.",
        "Ein Stempel ist nach manchem Recht ein Mindestgehalt, nach anderem in Grenzen geduldet; er ist ein "
        "Vermerk, keine Messung.",
    ),
    (
        "Silver guessed from the colour of the alloy is indicative; it is credited by an assay only.",
        "Nach der Farbe der Legierung geschätztes Silber ist ein Anhalt; gutgeschrieben wird es nur nach "
        "Probe.",
    ),
    (
        "A {metal} bar of {promised} ‰ is promised; the house states {most} at most.",
        "Ein Barren ({metal}) von {promised} ‰ ist versprochen; das Haus gibt höchstens {most} an.",
    ),
    (
        "A {metal} bar of {promised} ‰ takes proof by {names}; by {name} {most} ‰ at most is stated.",
        "Ein Barren ({metal}) von {promised} ‰ verlangt den Nachweis durch {names}; durch {name} werden "
        "höchstens {most} ‰ angegeben.",
    ),
    (
        "A {metal} bar of {promised} ‰ is promised, and no method of these terms proves it; by {name} "
        "{most} ‰ at most is stated.",
        "Ein Barren ({metal}) von {promised} ‰ ist versprochen, und kein Verfahren dieser Bedingungen weist "
        "ihn nach; durch {name} werden höchstens {most} ‰ angegeben.",
    ),
    ("fire assay", "Feuerprobe"),
    ("XRF", "Röntgenfluoreszenz"),
    ("ICP", "Plasmaspektrometrie"),
    ("titration", "Titration"),
    ("another method", "ein anderes Verfahren"),
    ("difference (an outside laboratory's report)", "Differenz (Bericht eines Fremdlabors)"),
    (
        "{promised} ‰ lies near 995 ‰, where some tax laws begin to treat gold differently.",
        "{promised} ‰ liegt nahe 995 ‰, wo manches Steuerrecht Gold anders zu behandeln beginnt.",
    ),
    (
        "No tax class is given for: {names}; no tax is reckoned on it.",
        "Keine Steuerklasse angegeben für: {names}; darauf wird keine Steuer gerechnet.",
    ),
    (
        "Nothing is melted before the holding period is over.",
        "Vor Ablauf der Haltefrist wird nichts geschmolzen.",
    ),
    (
        "{weight} g is below the minimum load of {scale}, {least} g: the reading may be off by more than its "
        "division.",
        "{weight} g liegen unter der Mindestlast von {scale}, {least} g: die Anzeige kann um mehr als einen "
        "Teilungswert abweichen.",
    ),
    (
        "The lot melted to more than its gross weight as received: weigh again, and look at both entries.",
        "Der Posten wiegt geschmolzen mehr als brutto bei Annahme: neu wiegen und beide Einträge ansehen.",
    ),
    ("common practice", "übliche Praxis"),
    ("common practice; {more}", "übliche Praxis; {more}"),
    ("the safety data sheets of the acids", "Sicherheitsdatenblätter der Säuren"),
    ("terms of the shop", "Bedingungen des Hauses"),
    ("arithmetic of this account", "Rechnung dieses Belegs"),
    ("published alloys; {more}", "veröffentlichte Legierungen; {more}"),
    ("for instance {source}", "zum Beispiel {source}"),
    # why a settlement differs
    ("What the quote called likely.", "Was das Angebot wahrscheinlich nannte."),
    (
        "The lot melted to the weight that was reckoned with.",
        "Der Posten schmolz auf das gerechnete Gewicht.",
    ),
    (
        "The lot melted to {melt} g, {off} g {way} than the net weight of its items.",
        "Der Posten schmolz auf {melt} g, {off} g {way} als das Nettogewicht seiner Stücke.",
    ),
    (
        "The lot melted to {melt} g, {off} g {way} than the net weight of its items; {taken} g of drillings "
        "were taken.",
        "Der Posten schmolz auf {melt} g, {off} g {way} als das Nettogewicht seiner Stücke; {taken} g Späne "
        "wurden entnommen.",
    ),
    ("lighter", "leichter"),
    ("heavier", "schwerer"),
    ("The assay found {parts}.", "Die Probe fand {parts}."),
    (
        "{found} ‰ {metal}, where {reckoned} ‰ was reckoned",
        "{found} ‰ {metal}, wo {reckoned} ‰ gerechnet waren",
    ),
    ("As much came back as was expected.", "Es kam so viel zurück wie erwartet."),
    (
        "Of what the assay found, {parts} came back than expected.",
        "Von dem, was die Probe fand, kamen {parts} zurück als erwartet.",
    ),
    ("{weight} g {way} {metal}", "{weight} g {metal} {way}"),
    ("more", "mehr"),
    ("less", "weniger"),
    ("Bars and remainder are as the quote had them.", "Barren und Rest sind wie im Angebot."),
    ("The client's wishes changed since the quote.", "Die Wünsche haben sich seit dem Angebot geändert."),
    ("The prices of the quote served.", "Es galten die Kurse des Angebots."),
    ("Settled with {parts}.", "Abgerechnet mit {parts}."),
    (
        "{metal} at {new} {currency} per {per}, quoted at {old} per {unit}",
        "{metal} zu {new} {currency} je {per}, angeboten zu {old} je {unit}",
    ),
    (
        "Charges are as the same quantities would have cost.",
        "Die Entgelte sind, was dieselben Mengen gekostet hätten.",
    ),
    ("Made up of {parts}.", "Zusammengesetzt aus {parts}."),
    ("charges on the quantities as recorded", "Entgelten auf die erfassten Mengen"),
    ("cash rounding", "Barzahlungsrundung"),
    ("fees of {amount}", "Gebühren von {amount}"),
    (
        "{poured} {metal} bars were poured, where {planned} would fit",
        "{poured} Barren ({metal}) gegossen, wo {planned} gepasst hätten",
    ),
    ("{text} It crossed an edge: {parts}.", "{text} Eine Grenze wurde überschritten: {parts}."),
    # reconciliation
    ("{metal} came back exactly as expected.", "{metal} kam genau wie erwartet zurück."),
    (
        "{size} g of {metal} is missing beyond the expected loss of {loss} g, {judged}",
        "{size} g {metal} fehlen über den erwarteten Verlust von {loss} g hinaus, {judged}",
    ),
    (
        "{size} g of {metal} came back above the expected loss of {loss} g, {judged}",
        "{size} g {metal} kamen mehr zurück, als der erwartete Verlust von {loss} g ließ, {judged}",
    ),
    (
        "within twice its uncertainty of {u} g: as expected.",
        "innerhalb der doppelten Unsicherheit von {u} g: wie erwartet.",
    ),
    (
        "above twice its uncertainty of {u} g, but within the balance of the terms.",
        "über der doppelten Unsicherheit von {u} g, aber in der Spanne der Bedingungen.",
    ),
    (
        "above twice its uncertainty of {u} g and beyond the balance of the terms: a query that an owner "
        "must answer for.",
        "über der doppelten Unsicherheit von {u} g und außerhalb der Spanne der Bedingungen: eine Rück"
        "frage, für die der Inhaber einstehen muss.",
    ),
    ("as expected", "wie erwartet"),
    ("within tolerance", "in der Spanne"),
    ("query", "Rückfrage"),
    # working
    ("{metal} in {item}, g", "{metal} in {item}, g"),
    ("{metal} in bars, g", "{metal} in Barren, g"),
    ("fine {metal}, g", "{metal} fein, g"),
    ("u of fine {metal}, g", "u von {metal} fein, g"),
    ("u of {metal} recovered, g", "u von {metal} zurück, g"),
    ("{metal} expected back, g", "{metal} zurück erwartet, g"),
    ("{metal} recovered, g", "{metal} zurück, g"),
    ("{metal} bought, g", "{metal} angekauft, g"),
    ("{metal} accountable, g", "{metal} gutgerechnet, g"),
    ("{metal} of lot {lot}, g", "{metal} des Postens {lot}, g"),
    ("residual of {metal}, g", "Rest des Abgleichs, {metal}, g"),
    ("parting silver needed, g", "nötiges Scheidesilber, g"),
    ("charge: {name}, {currency}", "Entgelt: {name}, {currency}"),
    ("tax: {code}, {currency}", "Steuer: {code}, {currency}"),
    ("payout of {metal}, {currency}", "Auszahlung {metal}, {currency}"),
    ("value of {metal}, {currency}", "Wert {metal}, {currency}"),
    ("top-up of {metal}, {currency}", "Zukauf {metal}, {currency}"),
    ("net, {currency}", "Saldo, {currency}"),
    (
        "max(0, (fine gold − target × melt weight) ÷ (target − gold fraction of the house silver))",
        "max(0, (Feingold − Ziel × Schmelzgewicht) ÷ (Ziel − Goldanteil des Haussilbers))",
    ),
    ("root of the variance", "Wurzel der Varianz"),
    (
        "net × filled part × likely fineness ÷ 1000",
        "netto × Legierungsanteil × wahrscheinlicher Feingehalt ÷ 1000",
    ),
    ("on assay: the fine weight", "auf Probe: das Feingewicht"),
    ("fine weight × recovery", "Feingewicht × Ausbeute"),
    (
        "fine weight − (fine weight + parting silver needed) × (1 − recovery)",
        "Feingewicht − (Feingewicht + nötiges Scheidesilber) × (1 − Ausbeute)",
    ),
    (
        "counter: the fine weight of the case that the terms name",
        "am Tresen: das Feingewicht des Falls, den die Bedingungen nennen",
    ),
    (
        "likely ± 2u, kept within 0 and the weight of the alloys that hold it",
        "wahrscheinlich ± 2u, zwischen 0 und dem Gewicht der enthaltenden Legierungen gehalten",
    ),
    (
        "R ± 2u, kept within 0 and the fine weight of the case",
        "R ± 2u, zwischen 0 und dem Feingewicht desselben Falls gehalten",
    ),
    (
        "R − max(R × (1 − accountable), minimum deduction), not below 0; none where R is below payable from",
        "R − max(R × (1 − Anrechnungssatz), Mindestabzug), nicht unter 0; keins unter der Mindestmenge",
    ),
    (
        "each takes nominal × promised fineness; a whole bar takes all that is left",
        "jeder nimmt Nennwert × versprochener Feingehalt; ein ganzer Barren alles Übrige",
    ),
    (
        "charged as × rate, or the parts of marginal tiers added; at least the minimum",
        "berechnete Menge × Satz, oder die Teile der Staffeln zusammen; mindestens der Mindestbetrag",
    ),
    ("taxed lines added × rate", "besteuerte Zeilen zusammen × Satz"),
    (
        "sold ÷ grams per unit × price × payout rate",
        "verkauft ÷ Gramm je Einheit × Kurs × Auszahlungssatz",
    ),
    (
        "sold ÷ grams per unit × price × top-up rate",
        "verkauft ÷ Gramm je Einheit × Kurs × Zukaufsatz",
    ),
    (
        "excess ÷ grams per unit × price × top-up rate",
        "Überschuss ÷ Gramm je Einheit × Kurs × Zukaufsatz",
    ),
    (
        "payouts − charges − tax − top-ups − advances − fees + cash rounding",
        "Auszahlungen − Entgelte − Steuer − Zukäufe − Vorschüsse − Gebühren + Barzahlungsrundung",
    ),
    ("in × recovery − came back", "hinein × Ausbeute − zurück"),
    (
        "came back in proportion to assayed fine weight, none more than its own",
        "zurück im Verhältnis des probierten Feingewichts, keiner mehr als sein eigenes",
    ),
    (
        "house first, kept within 0 and the lot's own",
        "das Haus zuerst, zwischen 0 und dem eigenen des Postens gehalten",
    ),
    (
        "pro rata, kept within 0 and the lot's own",
        "anteilig, zwischen 0 und dem eigenen des Postens gehalten",
    ),
    ("the assayed fine weight itself", "das probierte Feingewicht selbst"),
    *PARTING_SHEET,
    ("likely", "wahrscheinlich"),
    ("high", "hoch"),
    # metals inside sentences
    ("gold", "Gold"),
    ("silver", "Silber"),
    ("Silver", "Silber"),
    ("platinum", "Platin"),
    ("Platinum", "Platin"),
    ("palladium", "Palladium"),
    ("Palladium", "Palladium"),
)

# Gaps that hold whole sentences or lists, and gaps that hold a name of several words; others hold one word.
_LISTS = {"text", "parts", "names", "metals", "judged", "more"}
_NAMES = {"source", "item", "scale", "name"}
_GAP = re.compile(r"\\{(\w+)\\}")
# How parts are joined, the loosest joint first.
_JOINTS = (("; ", "; "), (" and ", " und "), (" or ", " oder "), (", ", ", "))
# A whole number of four digits inside a sentence is a year.
_NUMBER = re.compile(r"-?([0-9]{1,3}|[0-9]+\.[0-9]+)")


def told(text: str, locale: Locale, figure: Figure = str) -> str:
    """A sentence of the reckoning in the reader's language, its figures as he writes them."""
    return _german(text, figure) if locale.language == "de" else text


def _german(text: str, figure: Figure) -> str:
    if _NUMBER.fullmatch(text):
        return figure(text)
    for pattern, german in _rows():
        if match := pattern.fullmatch(text):
            return german.format(**{gap: _german(said, figure) for gap, said in match.groupdict().items()})
    for joint, german in _JOINTS:
        if joint in text:
            return german.join(_german(part, figure) for part in text.split(joint))
    return text


@lru_cache(maxsize=1)
def _rows() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple(_compiled())


def _compiled() -> Iterator[tuple[re.Pattern[str], str]]:
    # Sentences with more words of their own go first: a row that is mostly gap would swallow them.
    for english, german in sorted(_GERMAN, key=lambda row: -len(re.sub(r"{\w+}", "", row[0]))):
        yield re.compile(_GAP.sub(_gap, re.escape(english)), re.DOTALL), german


def _gap(of: re.Match[str]) -> str:
    name = of[1]
    held = ".+?" if name in _LISTS else "[^;]+?" if name in _NAMES else r"\S+"
    return f"(?P<{name}>{held})"
