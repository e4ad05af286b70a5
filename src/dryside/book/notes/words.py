"""Words of notes in English, German, French and Spanish, as the pieces and headers look for them."""

from __future__ import annotations

SAME = (
    r"same|ditto|idem|dito|dto\.?|gleich(?:es)?|wie (?:oben|vorher)|s\.\s?o\.|pareil|m[eê]me(?: chose)?|igual|[ií]dem"
)
SAME_AS = r"(?:same as|like|as|wie|comme|como)\s+(?:no\.?|nr\.?|#|frame|bild)?\s*"
BUT = r"but|except|aber|jedoch|mais|sauf|pero|salvo|excepto|with|only|mit|avec|con"
BLANK = (
    "blank", "empty", "unexposed", "nothing", "skipped", "leer", "leerbild", "unbelichtet", "vide", "vierge",
    "vacio", "vacía", "vacío", "vacia", "en blanco", "-", "–", "—", "--", "---",
)  # fmt: skip
NO_FLASH = r"no flash|without flash|flash off|ohne blitz|kein blitz|sans flash|sin flash"
FLASH = r"(?:with |mit |avec |con )?(?:fill[- ]?)?(?:flash|blitz|aufhellblitz)(?! of\b)"

MONTHS: dict[str, int] = {}
for _number, _names in enumerate(
    (
        "january jan januar jänner janvier janv enero ene",
        "february feb februar février fevrier févr fevr febrero",
        "march mar märz maerz mär mars marzo",
        "april apr avril avr abril abr",
        "may mai mayo",
        "june jun juni juin junio",
        "july jul juli juillet juil julio",
        "august aug août aout agosto ago",
        "september sep sept septembre septiembre set setiembre",
        "october oct oktober okt octobre octubre",
        "november nov novembre noviembre",
        "december dec dezember dez décembre decembre déc diciembre dic",
    ),
    start=1,
):
    MONTHS |= dict.fromkeys(_names.split(), _number)

WEEKDAYS = (
    "monday|tuesday|wednesday|thursday|friday|saturday|sunday|mon|tue|wed|thu|fri|sat|sun|"
    "montag|dienstag|mittwoch|donnerstag|freitag|samstag|sonntag|"
    "lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche|"
    "lunes|martes|miércoles|miercoles|jueves|viernes|sábado|sabado|domingo"
)

# Names of fields: heads of lines and of columns, and inside a line before a colon. Column of the frame: words.
FIELD_NAMES: dict[str, tuple[str, ...]] = {
    "label": (
        "frame", "no", "nr", "number", "label", "frame no", "frame number", "exposure", "exp", "bild", "bild nr",
        "bildnummer", "nummer", "aufnahme", "vue", "numéro", "numero", "image", "n°", "#", "toma", "número", "foto",
    ),
    "shutter": (
        "shutter", "shutter speed", "speed", "time s", "exposure time", "verschluss", "zeit", "belichtung",
        "belichtungszeit", "verschlusszeit", "vitesse", "temps de pose", "pose", "velocidad", "obturador",
        "tiempo de exposición",
    ),
    "aperture": ("aperture", "f", "f-stop", "f-number", "fstop", "blende", "ouverture", "diaphragme", "diafragma",
                 "apertura", "abertura"),
    "focal_mm": ("focal", "focal length", "focal mm", "mm", "brennweite", "focale", "distancia focal", "focal_mm"),
    "lens": ("lens", "objektiv", "linse", "objectif", "objetivo", "optique"),
    "taken_at": ("date time", "datetime", "timestamp", "taken", "taken at", "taken_at", "zeitpunkt", "date/time"),
    "taken_to": ("taken to", "taken_to"),
    "date": ("date", "day", "datum", "tag", "jour", "fecha", "día", "dia"),
    "time": ("time", "uhrzeit", "heure", "hora"),
    "caption": ("caption", "subject", "description", "title", "motiv", "bildtext", "beschreibung", "sujet", "légende",
                "legende", "motivo", "descripción", "descripcion", "leyenda", "what"),
    "notes": ("note", "notes", "remark", "remarks", "comment", "comments", "bemerkung", "notiz", "kommentar",
              "remarque", "nota", "notas", "comentario"),
    "keywords": ("keywords", "keyword", "tags", "tag words", "schlagworte", "stichworte", "mots-clés", "mots clés",
                 "palabras clave"),
    "person": ("person", "people", "who", "wer", "personne", "qui", "quién", "quien", "persona"),
    "place": ("place", "location", "where", "at", "ort", "lieu", "lugar", "sitio", "où"),
    "latitude": ("latitude", "lat", "breite", "latitud"),
    "longitude": ("longitude", "lon", "lng", "long", "länge", "longitud"),
    "altitude_m": ("altitude", "alt", "elevation", "ele", "altitude_m", "höhe", "altitud"),
    "exposure_index": ("ei", "iso", "asa", "exposure index", "rated", "exposure_index"),
    "exposure_bias": ("bias", "compensation", "exposure compensation", "comp", "exposure_bias", "korrektur",
                      "belichtungskorrektur", "correction", "compensación", "ev"),
    "flash": ("flash", "blitz"),
    "rating": ("rating", "stars", "bewertung", "sterne", "note sur 5", "valoración", "estrellas"),
    "blank": ("blank", "empty", "leer", "vide", "vacío"),
    "printed": ("printed", "has been printed", "gedruckt", "abgezogen", "imprimée", "tirée", "impresa"),
}  # fmt: skip

ROLL_NAMES: dict[str, tuple[str, ...]] = {
    "camera": ("camera", "body", "kamera", "gehäuse", "appareil", "boîtier", "boitier", "cámara", "camara"),
    "stock": ("film", "stock", "emulsion", "pellicule", "película", "pelicula", "filmsorte"),
    "title": ("roll", "roll title", "rolle", "filmtitel", "rouleau", "carrete"),
    "offset": ("offset", "utc", "timezone", "time zone", "tz", "zeitzone", "fuseau", "zona horaria"),
}

TRUE = ("yes", "y", "1", "true", "x", "on", "ja", "j", "oui", "sí", "si", "wahr", "vrai", "fired")
FALSE = ("no", "n", "0", "false", "off", "nein", "non", "", "falsch", "faux")


def field_of(word: str) -> str | None:
    """The column that a field's name means, in any of the four languages; None if it is none."""
    plain = " ".join(word.strip().lower().replace("_", " ").rstrip(":.").split())
    for table in (FIELD_NAMES, ROLL_NAMES):
        for column, words in table.items():
            if plain in words or plain == column.replace("_", " "):
                return column
    return None
