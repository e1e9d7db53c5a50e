"""What the parting sheet says in whole sentences, and the German for it: rows as those of `german`."""

PARTING_SHEET: tuple[tuple[str, str], ...] = (
    (
        "Published limits of what may be in the air at work: {parts}. The limits of the place of work are "
        "those that hold there.",
        "Veröffentlichte Grenzwerte der Luft am Arbeitsplatz: {parts}. Es gelten die Grenzwerte des Ortes.",
    ),
    (
        "{item} {long} ppm over 8 hours and {short} ppm over 15 minutes ({source})",
        "{item} {long} ppm über 8 Stunden, {short} ppm über 15 Minuten ({source})",
    ),
    ("{item} {long} ppm over 8 hours ({source})", "{item} {long} ppm über 8 Stunden ({source})"),
    ("{item} {short} ppm over 15 minutes ({source})", "{item} {short} ppm über 15 Minuten ({source})"),
    ("{source}, from memory", "{source}, aus dem Gedächtnis"),
    ("Commission Directive {name} (indicative values)", "Richtlinie {name} (Richtgrenzwerte)"),
    (
        "Metabisulfite in an acid bath gives off sulfur dioxide, which takes the breath and can set off "
        "asthma; it is heavier than air. Add it under extraction only, in small parts, never to a closed "
        "vessel.",
        "Metabisulfit setzt im sauren Bad Schwefeldioxid frei, das den Atem nimmt und Asthma auslösen kann; "
        "es ist schwerer als Luft. Nur unter Abzug zugeben, in kleinen Teilen, nie in ein geschlossenes "
        "Gefäß.",
    ),
    (
        "Aqua regia gives off chlorine and nitrosyl chloride for as long as it stands, and bursts a closed "
        "bottle. It is never stored, and never brought near solvents or other organic matter.",
        "Königswasser gibt Chlor und Nitrosylchlorid ab, solange es steht, und sprengt eine geschlossene "
        "Flasche. Es wird nie gelagert und nie in die Nähe von Lösemitteln oder Organischem gebracht.",
    ),
    (
        "Chloride in the parting bath (tap water, hydrochloric acid) drops silver as its chloride, {share} % "
        "silver by weight: it is no metal yet, coats gold that is still to be dissolved, and darkens in "
        "light.",
        "Chlorid im Scheidebad (Leitungswasser, Salzsäure) fällt Silber als Chlorid, zu {share} % Silber: es "
        "ist noch kein Metall, überzieht Gold, das noch zu lösen ist, und dunkelt am Licht.",
    ),
    (
        "What copper leaves behind is an acid solution of copper nitrate that harms water and feeds fire: it "
        "is hazardous waste, not for the drain.",
        "Was nach dem Kupfer bleibt, ist eine saure Kupfernitratlösung, die Gewässer schädigt und Feuer "
        "nährt: gefährlicher Abfall, nicht für den Abfluss.",
    ),
    (
        "Gold is above the fraction that these terms part at, and nothing is to be added: acid may not get "
        "through.",
        "Gold liegt über dem Anteil, zu dem diese Bedingungen scheiden, und nichts ist zuzugeben: die Säure "
        "kommt womöglich nicht durch.",
    ),
    ("the safety data sheet of sodium metabisulfite", "Sicherheitsdatenblatt von Natriummetabisulfit"),
    ("silver to gold by weight", "Silber zu Gold nach Gewicht"),
    ("gold fraction of the bath, {case}", "Goldanteil des Bades, {case}"),
    ("gold ÷ (melt weight + house silver)", "Gold ÷ (Schmelzgewicht + Haussilber)"),
    ("fine silver ÷ high gold", "Feinsilber ÷ hohes Gold"),
    ("{item} for the {metal}, g", "{item} für {metal}, g"),
    ("nitric acid (100 %)", "Salpetersäure (100 %)"),
    ("sodium metabisulfite", "Natriummetabisulfit"),
    ("sulfur dioxide", "Schwefeldioxid"),
    ("nitrogen dioxide", "Stickstoffdioxid"),
    ("nitrogen monoxide", "Stickstoffmonoxid"),
    ("nitric acid", "Salpetersäure"),
    ("chlorine", "Chlor"),
    ("hydrogen chloride", "Chlorwasserstoff"),
    ("copper", "Kupfer"),
)
