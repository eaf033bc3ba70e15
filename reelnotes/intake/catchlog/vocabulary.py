"""Every word that the log reader knows: English; Norwegian and Danish; Swedish; German; Spanish.

To teach it a language, add words to these tables; nothing else needs to change. All words are
lower case, with accents; the reader also takes them without. Punctuation and case never count.
"""

# Column -> the names that header cells give it.
COLUMNS: dict[str, str] = {
    "time": (
        "time, when, clock, timestamp, date time, datetime, time of day, local time, utc, utc time, "
        "log time, hour, tid, tidspunkt, klokke, klokkeslett, kl, klokken, når, klockan, klockslag, "
        "tidpunkt, när, zeit, uhrzeit, zeitpunkt, wann, hora, tiempo, cuándo, fecha y hora, fecha hora, "
        "dato tid, datum zeit, datum uhrzeit"
    ),
    "date": "date, day, dato, dag, datum, tag, fecha, día",
    "event": (
        "event, what, type, kind, action, what happened, entry, hendelse, hva, type hendelse, handling, "
        "begivenhed, hvad, händelse, vad, typ, ereignis, was, aktion, vorgang, evento, qué, tipo, suceso, "
        "acción"
    ),
    "species": "species, fish, fish species, fiskeart, art, fisk, slag, fischart, fisch, especie, pez, pescado",
    "length": (
        "length, size, len, total length, tl, lengde, længde, størrelse, mål, längd, storlek, mått, länge, "
        "größe, laenge, longitud, largo, talla, tamaño, medida"
    ),
    "weight": "weight, wt, mass, vekt, vægt, vikt, gewicht, peso",
    "kept": (
        "kept, keep, kept or released, fate, retained, beholdt, tatt med, beholdt fisk, behållen, behölls, "
        "skjebne, behalten, entnommen, mitgenommen, verbleib, conservado, guardado, destino, retenido"
    ),
    "released": (
        "released, release, c r, sluppet, gjenutsatt, genudsat, återutsatt, släppt, zurückgesetzt, "
        "released fish, liberado, devuelto, suelto"
    ),
    "bait": (
        "bait, lure, fly, bait lure, lure bait, agn, sluk, flue, agn sluk, madding, bete, drag, fluga, "
        "köder, fliege, kunstköder, cebo, señuelo, mosca, carnada"
    ),
    "rig": (
        "rig, terminal tackle, setup, tackle, rigg, oppsett, takkel, tackel, montage, vorfach, system, aparejo, montaje, bajo"
    ),
    "depth": "depth, deep, dybde, dyp, djup, tiefe, profundidad, fondo",
    "setback": (
        "setback, set back, line out, distance back, lead, letback, line, snøre ute, lengde ut, line ute, "
        "bak båten, utsläpp, lina ute, bakom båten, schnur, abstand, schnurlänge, hinter dem boot, "
        "distancia, línea fuera, sedal fuera"
    ),
    "rod": "rod, rod no, reel, outfit, stang, fiskestang, spö, stång, rute, angel, caña",
    "note": (
        "note, notes, comment, comments, remark, remarks, notat, notater, merknad, merknader, kommentar, "
        "kommentarer, bemærkning, anteckning, anteckningar, anmärkning, notiz, notizen, bemerkung, "
        "bemerkungen, anmerkung, nota, notas, comentario, comentarios, observación, observaciones"
    ),
}

# Kind of event -> the words for it.
EVENTS: dict[str, str] = {
    "strike": (
        "strike, bite, hit, take, bump, knock, nibble, short strike, missed strike, pull, nap, napp, hugg, "
        "bitt, bid, nabb, nafs, biss, anbiss, zupfer, fehlbiss, picada, toque, mordida"
    ),
    "hooked": (
        "hooked, hook, hooked up, hook up, hookup, fish on, on, hook set, hookset, fighting, fight, kroket, "
        "krok, kroka, fisk på, på kroken, fast fisk, kjører fisk, kroget, krokad, krokade, fisk på kroken, "
        "haken, gehakt, fisch dran, dran, drill, anhieb, enganchado, enganche, clavado, clavada, "
        "pez clavado, en el anzuelo"
    ),
    "landed": (
        "landed, land, landing, catch, caught, netted, boated, in the boat, in the net, fish in, landet, "
        "fanget, fangst, tatt, fått, i båten, i håven, landad, landade, fångad, fångst, fångade, håvad, "
        "tagen, gelandet, landung, fang, gefangen, gekeschert, im boot, im kescher, capturado, captura, "
        "pescado, sacado, a bordo, en la red, desembarcado"
    ),
    "lost": (
        "lost, lose, loss, lost fish, dropped, got off, came off, came unbuttoned, off, broke off, "
        "break off, broken off, spat the hook, threw the hook, mistet, mista, miste, tapt, tapte, slapp av, "
        "gikk av, røk, slet seg, mistede, tappad, tappade, tappat, lossnade, gick av, verloren, "
        "ausgestiegen, aussteiger, abgerissen, abriss, ausgeschlitzt, perdido, perdida, escapado, se soltó, "
        "se escapó, rotura"
    ),
    "released": (
        "released, release, let go, set free, put back, c r, catch and release, back in the water, sluppet, "
        "sluppet ut, satt ut, gjenutsatt, sluppet fri, genudsat, sat ud, släppt, släppte, återutsatt, "
        "satt tillbaka, satte tillbaka, zurückgesetzt, freigelassen, released fish, schwimmt wieder, "
        "liberado, suelto, soltado, devuelto, devolución, suelta"
    ),
    "bait check": (
        "bait check, baitcheck, check bait, checked bait, check baits, checked baits, check lines, "
        "checked lines, lines checked, bait checked, rebait, rebaited, agnsjekk, sjekk agn, sjekket agn, "
        "sjekk av agn, nytt agn, agnkontroll, agntjek, beteskoll, koll av bete, kollade betet, betekontroll, "
        "nytt bete, köderkontrolle, köder kontrolliert, köder geprüft, köderwechsel, neuer köder, "
        "revisión del cebo, revisar cebo, cebo revisado, cebo nuevo, cambio de cebo"
    ),
    "rig change": (
        "rig change, rigchange, change rig, changed rig, new rig, re rig, rerig, rerigged, lure change, "
        "changed lure, change lure, new lure, swap lure, riggbytte, bytte rigg, byttet rigg, ny rigg, "
        "slukbytte, byttet sluk, ny sluk, rigskift, riggbyte, bytt rigg, bytte drag, dragbyte, "
        "montagewechsel, montage gewechselt, neue montage, rigwechsel, vorfachwechsel, cambio de aparejo, "
        "aparejo nuevo, cambio de montaje, cambio de señuelo"
    ),
    "sighting": (
        "sighting, seen, sighted, spotted, saw, observation, birds, marks, showing, jumping, observasjon, "
        "sett, så, observert, fugl, iakttagelse, observation, siktning, sett fisk, observerat, fåglar, "
        "sichtung, gesehen, beobachtung, vögel, avistamiento, visto, vista, observado, pájaros"
    ),
    "note": (
        "note, notes, comment, remark, memo, other, info, start, stop, end, lines in, lines out, notat, "
        "merknad, kommentar, annet, slutt, bemærkning, anteckning, anmärkning, övrigt, notiz, bemerkung, "
        "sonstiges, anmerkung, ende, nota, comentario, observación, otro, inicio, fin"
    ),
}

# Words of the "kept" column. "Yes" and "no" answer the column's own name.
KEPT = (
    "kept, keep, keeper, retained, taken, harvested, in the box, bled, beholdt, behold, tatt med, "
    "tatt opp, avlivet, behållen, behölls, behölls fisken, togs upp, avlivad, behalten, entnommen, "
    "mitgenommen, abgeschlagen, conservado, guardado, retenido, sacrificado, se queda"
)
RELEASED = EVENTS["released"]
YES = "yes, y, x, true, 1, ja, j, sí, si, s, ✓, ✔"
NO = "no, n, false, 0, nei, nej, nein, none, ✗"

# Rows that sum up the day are no events.
TOTALS = (
    "total, totals, sum, sum total, grand total, subtotal, totalt, i alt, sammen, til sammen, tilsammen, "
    "summa, sammanlagt, summe, gesamt, insgesamt, gesamtzahl, suma, en total"
)

# Words for "about" before a number or a time, and for "o'clock".
ABOUT = (
    "ca, circa, c, approx, approximately, about, around, roughly, omtrent, cirka, omkring, rundt, "
    "ungefär, runt, etwa, ungefähr, gegen, um, aprox, aproximadamente, sobre, hacia, est, estimated"
)
O_CLOCK = "kl, klokken, klokka, klockan, uhr, h, hrs, hours, o clock, oclock, at, a las, las"

MONTHS = {
    1: "jan, january, januar, januari, jän, jänner, ene, enero",
    2: "feb, february, februar, februari, febrero",
    3: "mar, march, mars, marts, mär, märz, marzo",
    4: "apr, april, abr, abril",
    5: "may, mai, maj, mayo",
    6: "jun, june, juni, junio",
    7: "jul, july, juli, julio",
    8: "aug, august, augusti, ago, agosto",
    9: "sep, sept, september, septiembre, setiembre",
    10: "oct, october, okt, oktober, octubre",
    11: "nov, november, noviembre",
    12: "dec, december, des, desember, dez, dezember, dic, diciembre",
}

# Unit -> its words. Quotation marks and primes are made plain before.
LENGTH_UNITS = {
    "mm": "mm, millimetre, millimetres, millimeter, millimeters, milímetro, milímetros",
    "cm": "cm, cms, centimetre, centimetres, centimeter, centimeters, centi, zentimeter, centímetro, centímetros",
    "m": "m, mtr, metre, metres, meter, meters, metro, metros",
    "in": 'in, ins, inch, inches, ", tomme, tommer, tum, zoll, pulgada, pulgadas',
    "ft": "ft, foot, feet, ', fot, fod, fuß, fuss, pie, pies",
    "fathom": "fathom, fathoms, fm, fth, fthm, favn, favner, favne, famn, famnar, faden, braza, brazas",
    "yd": "yd, yds, yard, yards, yarda, yardas",
}
WEIGHT_UNITS = {
    "kg": "kg, kgs, kilo, kilos, kilogram, kilograms, kilogramm, kilogramo, kilogramos",
    "g": "g, gr, gram, grams, gramme, grammes, gramm, gramo, gramos",
    "hg": "hg, hekto, hektogram",
    "lb": "lb, lbs, pound, pounds, #, libra, libras",
    "oz": "oz, ozs, ounce, ounces, unse, unser, uns, unze, unzen, onza, onzas",
}
