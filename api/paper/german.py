"""The sentences of the reckoning, each with its gaps, and the German for it."""

from api.paper.german_parting import PARTING_SHEET

GERMAN: tuple[tuple[str, str], ...] = (
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
        "Charges and tax, {amount} {currency}, take up all that the metal is worth.",
        "Entgelte und Steuer, {amount} {currency}, zehren auf, was das Metall wert ist.",
    ),
    (
        "Nothing here can be valued before it is melted and assayed; the account follows the assay.",
        "Vor Schmelze und Probe lässt sich hier nichts bewerten; die Abrechnung folgt der Probe.",
    ),
    ("{text} Money may be advanced on it.", "{text} Ein Vorschuss darauf ist möglich."),
    (
        "Under these terms nothing is paid for {metals}.",
        "Nach diesen Bedingungen wird für {metals} nichts bezahlt.",
    ),
    (
        "There is no price of {metals}: its worth is in no figure here.",
        "Für {metals} gibt es keinen Kurs: der Wert steht in keiner Zahl hier.",
    ),
    (
        "Of {count} {metal} bars in line {line}, {sure} are covered in the low case.",
        "Von {count} Barren ({metal}) der Zeile {line} sind {sure} im niedrigen Fall gedeckt.",
    ),
    (
        "Of {count} {metal} bars in line {line}, {sure} are covered in the low case and {some} in the likely "
        "one.",
        "Von {count} Barren ({metal}) der Zeile {line} sind {sure} im niedrigen Fall gedeckt, {some} im "
        "wahrscheinlichen.",
    ),
    (
        "{text} That is beyond one over-pour: an owner answers for it, or a bar is withdrawn.",
        "{text} Das ist mehr als ein Übermaß: der Inhaber steht dafür ein, oder ein Barren wird "
        "zurückgezogen.",
    ),
    (
        "Bars of {metal} hold {gift} g more than the client is due: the house gives it away, worth {worth} "
        "{currency}.",
        "Barren ({metal}) enthalten {gift} g mehr, als dem Kunden zusteht: das Haus gibt es dazu, Wert "
        "{worth} {currency}.",
    ),
    (
        "Bars of {metal} hold {gift} g more than the client is due: the house gives it away.",
        "Barren ({metal}) enthalten {gift} g mehr, als dem Kunden zusteht: das Haus gibt es dazu.",
    ),
    (
        "Bars of {metal} state {gift} g less than the client is due: he loses it, worth {worth} {currency}.",
        "Barren ({metal}) weisen {gift} g weniger aus, als dem Kunden zusteht: er verliert es, Wert {worth} "
        "{currency}.",
    ),
    (
        "Bars of {metal} state {gift} g less than the client is due: he loses it.",
        "Barren ({metal}) weisen {gift} g weniger aus, als dem Kunden zusteht: er verliert es.",
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
    ("What the quote called likely of {metals}.", "Was das Angebot wahrscheinlich nannte, von {metals}."),
    (
        "The lot melted to the weight that was reckoned with.",
        "Der Posten schmolz auf das gerechnete Gewicht.",
    ),
    (
        "The lot melted to {melt} g, {off} g {way} than the net weight of its items.",
        "Der Posten schmolz auf {melt} g, {off} g {way} als das Nettogewicht seiner Stücke.",
    ),
    (
        "{text}; {taken} g of drillings were taken for assay and go back to the client.",
        "{text}; {taken} g Späne wurden für die Probe entnommen und gehen an den Kunden zurück.",
    ),
    (
        "{text}; {taken} g of drillings were taken for assay and are credited to the client.",
        "{text}; {taken} g Späne wurden für die Probe entnommen und dem Kunden gutgeschrieben.",
    ),
    (
        "{text}; {taken} g of drillings were taken for assay and are the house's.",
        "{text}; {taken} g Späne wurden für die Probe entnommen und gehören dem Haus.",
    ),
    (
        "The lot melted to the weight that was reckoned with",
        "Der Posten schmolz auf das gerechnete Gewicht",
    ),
    (
        "The lot melted to {melt} g, {off} g {way} than the net weight of its items",
        "Der Posten schmolz auf {melt} g, {off} g {way} als das Nettogewicht seiner Stücke",
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
    ("Not as quoted: {parts}.", "Anders als angeboten: {parts}."),
    ("the client's wishes changed", "die Wünsche haben sich geändert"),
    ("a concession was made", "ein Nachlass wurde gewährt"),
    ("bars as they were poured", "Barren, wie sie gegossen wurden"),
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
    ("charges and tax on the quantities as recorded", "Entgelten und Steuer auf die erfassten Mengen"),
    ("rounding", "Rundung"),
    ("too small to pay", "zu klein zum Zahlen"),
    ("{sold} g {metal} is sold, where {before} g would be", "{sold} g {metal} verkauft statt {before} g"),
    (
        "As much came back as was expected; it is settled in whole milligrams.",
        "Es kam so viel zurück wie erwartet; abgerechnet wird in ganzen Milligramm.",
    ),
    ("fees of {amount}", "Gebühren von {amount}"),
    (
        "{poured} {metal} bars were poured, where {planned} would fit",
        "{poured} Barren ({metal}) gegossen, wo {planned} gepasst hätten",
    ),
    ("{text} It crossed an edge: {parts}.", "{text} Eine Grenze wurde überschritten: {parts}."),
    ("another number of {metal} bars fits", "es passt eine andere Zahl Barren ({metal})"),
    (
        "{metal} crossed the weight from which it is paid for",
        "{metal} kreuzte die Mindestmenge der Vergütung",
    ),
    ("{item} reached another tier", "{item} erreichte eine andere Staffel"),
    (
        "the minimum of {item} came into play or ceased to",
        "der Mindestbetrag von {item} kam ins Spiel oder fiel weg",
    ),
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
    ("{metal} held {count}, g", "{metal}, im Prozess gehalten {count}, g"),
    ("variance of {metal} in {item}, g²", "Varianz von {metal} in {item}, g²"),
    ("loan {count}", "Leihe {count}"),
    ("outturn {count}", "Ausbringung {count}"),
    ("residual of {metal}, g", "Rest des Abgleichs, {metal}, g"),
    ("u of the residual of {metal}, g", "u des Rests des Abgleichs, {metal}, g"),
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
        "R − max(R × (1 − accountable), minimum deduction), not below 0; none where R is below payable from; "
        "R with drillings that are credited",
        "R − max(R × (1 − Anrechnungssatz), Mindestabzug), nicht unter 0; keins unter der Mindestmenge; "
        "R mit gutgeschriebenen Spänen",
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
    ("sold ÷ grams per unit × price × payout rate", "verkauft ÷ Gramm je Einheit × Kurs × Auszahlungssatz"),
    ("sold ÷ grams per unit × price × top-up rate", "verkauft ÷ Gramm je Einheit × Kurs × Zukaufsatz"),
    (
        "excess ÷ grams per unit × price × top-up rate",
        "Überschuss ÷ Gramm je Einheit × Kurs × Zukaufsatz",
    ),
    (
        "payouts − charges − tax − top-ups − advances − fees",
        "Auszahlungen − Entgelte − Steuer − Zukäufe − Vorschüsse − Gebühren",
    ),
    ("in × recovery − came back", "hinein × Ausbeute − zurück"),
    (
        "√(recovery² × variance in + variance out and held + (in × recovery u)²)",
        "√(Ausbeute² × Varianz hinein + Varianz zurück und gehalten + (hinein × u der Ausbeute)²)",
    ),
    ("weight × assay ÷ 1000", "Gewicht × Probe ÷ 1000"),
    (
        "(assay ÷ 1000)² × weighings × division² ÷ 12 + (weight ÷ 1000)² × variance of the assay",
        "(Probe ÷ 1000)² × Wägungen × Teilung² ÷ 12 + (Gewicht ÷ 1000)² × Varianz der Probe",
    ),
    ("its estimate", "sein Schätzwert"),
    (
        "came back in proportion to assayed fine weight, none more than its own",
        "zurück im Verhältnis des probierten Feingewichts, keiner mehr als sein eigenes",
    ),
    (
        "own − (own + needed to part it) × (1 − came back ÷ (lent + all lots' own)), kept within 0 and the "
        "lot's own",
        "eigenes − (eigenes + zum Scheiden nötiges) × (1 − zurück ÷ (geliehen + aller Posten eigenes)), "
        "zwischen 0 und dem eigenen des Postens gehalten",
    ),
    (
        "came back in proportion to the loan and each lot's own, kept within 0 and the lot's own",
        "zurück im Verhältnis von Leihe und eigenem jedes Postens, zwischen 0 und dem eigenen des Postens "
        "gehalten",
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
