"""Advice on the recording: what to change, why, and how, in the trade's words.

At most three sentences' worth, the most useful first. Each piece of advice has a key; the same
key has a text in every language of :data:`TEXTS`, so that a page can show it in another
language than the report's.
"""

from __future__ import annotations

from typing import Literal, get_args

Language = Literal["en", "es"]

MOST = 3

# Most useful first: what makes judging impossible, then what hurts the sound, then the picture.
TEXTS: dict[str, dict[Language, str]] = {
    "no_sound": {
        "en": "There is no sound in this recording. Check that the camera app may use the "
        "microphone, record ten seconds, and listen before you play the whole audition.",
        "es": "Esta grabación no tiene sonido. Comprueba que la cámara puede usar el micrófono, "
        "graba diez segundos y escúchalos antes de tocar toda la audición.",
    },
    "clipped": {
        "en": "The loud notes are distorted because the phone is too close. Move it two or "
        "three steps away, put it on a shelf, and try your loudest note first.",
        "es": "Las notas fuertes suenan distorsionadas porque el teléfono está demasiado cerca. "
        "Aléjalo dos o tres pasos, ponlo en un estante y prueba primero tu nota más fuerte.",
    },
    "too_quiet": {
        "en": "The playing is very quiet, so judges hear little of your tone. Put the phone a "
        "step or two closer and make sure that nothing covers its microphone.",
        "es": "Se oye muy bajo y los jueces apenas perciben tu sonido. Acerca el teléfono uno o "
        "dos pasos y comprueba que nada tapa el micrófono.",
    },
    "noisy": {
        "en": "The room is loud compared with your playing, which hides soft notes. Switch off "
        "fans and other devices, close the window and door, or choose another room.",
        "es": "La habitación hace mucho ruido en comparación con tu música y tapa las notas "
        "suaves. Apaga ventiladores y aparatos, cierra la ventana y la puerta o busca otro "
        "cuarto.",
    },
    "hum": {
        "en": "There is a loud hum under your playing. Unplug the phone's charger, move away from "
        "lamps with a dimmer and from the refrigerator, and record ten seconds to compare.",
        "es": "Hay un zumbido fuerte debajo de tu música. Desenchufa el cargador del teléfono, "
        "aléjate de lámparas regulables y del refrigerador y graba diez segundos para comparar.",
    },
    "steady_noise": {
        "en": "A steady noise, such as a fan, is loud compared with your playing and hides soft "
        "notes. Switch off fans and air conditioning while you record, or choose another room.",
        "es": "Un ruido constante, como el de un ventilador, es fuerte en comparación con tu "
        "música y tapa las notas suaves. Apaga ventiladores y aire acondicionado mientras grabas "
        "o busca otro cuarto.",
    },
    "voices": {
        "en": "Voices can be heard behind your playing, and judges should hear only you. Tell "
        "your family when you record, and close the door.",
        "es": "Se oyen voces detrás de tu música y los jueces deberían oírte solo a ti. Avisa a "
        "tu familia cuando grabes y cierra la puerta.",
    },
    "music_behind": {
        "en": "Other music can be heard behind your playing, and judges should hear only you. "
        "Switch off the radio, the television and the practice track while you record.",
        "es": "Se oye otra música detrás de la tuya y los jueces deberían oírte solo a ti. Apaga "
        "la radio, la televisión y la pista de práctica mientras grabas.",
    },
    "gated": {
        "en": "Your note endings are cut off by noise suppression, so judges cannot hear how "
        "you finish a note. Switch off noise suppression or voice isolation in the camera app.",
        "es": "La supresión de ruido corta el final de tus notas y los jueces no oyen cómo las "
        "terminas. Desactiva la supresión de ruido o el aislamiento de voz en la cámara.",
    },
    "pumping": {
        "en": "The phone turns its level up in every rest, so soft and loud sound alike. Use the "
        "camera app without automatic level, or step back so that it has less to correct.",
        "es": "El teléfono sube su nivel en cada silencio y lo suave suena igual que lo fuerte. "
        "Graba sin nivel automático o aléjate un poco para que tenga menos que corregir.",
    },
    "nobody": {
        "en": "You can hardly be seen in the picture. Move the phone until you and your "
        "instrument are in the frame, and check ten seconds of it before you start.",
        "es": "Casi no se te ve en la imagen. Mueve el teléfono hasta que tú y tu instrumento "
        "estén en el cuadro y revisa diez segundos antes de empezar.",
    },
    "echo": {
        "en": "The room echoes so long that quick notes run together. Put the phone closer, or "
        "play in a room with curtains, carpets or a bed.",
        "es": "El cuarto tiene tanto eco que las notas rápidas se mezclan. Pon el teléfono más "
        "cerca o toca en un cuarto con cortinas, alfombras o una cama.",
    },
    "sideways": {
        "en": "The picture lies on its side, so your posture is hard to see. Turn the phone "
        "before you press record, and leave it so.",
        "es": "La imagen está de lado y cuesta ver tu postura. Gira el teléfono antes de empezar "
        "a grabar y no lo muevas después.",
    },
    "dark": {
        "en": "The picture is very dark. Switch on a lamp in front of you, or turn so that the "
        "window is not behind you.",
        "es": "La imagen está muy oscura. Enciende una lámpara delante de ti o colócate de modo "
        "que la ventana no quede a tu espalda.",
    },
    "shaky": {
        "en": "The picture shakes. Put the phone on something solid, such as a shelf or a stack "
        "of books; nobody needs to hold it.",
        "es": "La imagen tiembla. Apoya el teléfono en algo firme, como un estante o una pila de "
        "libros; no hace falta que nadie lo sostenga.",
    },
}

# Thresholds are common practice, no source; what they catch is printed by the benchmark.
_CLIPPED_MS = 20.0
_TOO_QUIET_LUFS = -40.0
_NOISY_SNR_DB = 20.0
_SOMEBODY_ELSE_SNR_DB = 35.0  # voices and music distract long before they hide anything
_ECHO_S = 1.2
_PUMPING_DB = 8.0
_GATED_A_MINUTE = 8.0
_DARK = 0.15
_SHAKY_PERCENT = 0.5
_NOBODY_SHARE = 0.25


def advice_keys(
    *,
    has_sound: bool,
    loudness_lufs: float | None,
    clipped_ms: float | None,
    snr_db: float | None,
    background_kind: str | None = None,
    echo_s: float | None = None,
    gain_pumping_db: float | None = None,
    gated_a_minute: float | None = None,
    brightness: float | None,
    upright: bool | None,
    shake_percent: float | None,
    somebody_share: float | None,
) -> tuple[str, ...]:
    """Return the keys of at most three pieces of advice, most useful first.

    A quantity that could not be measured (None) leads to no advice.
    """
    if not has_sound:
        return ("no_sound",)

    def below(value: float | None, limit: float) -> bool:
        return value is not None and value < limit

    def above(value: float | None, limit: float) -> bool:
        return value is not None and value > limit

    noisy = below(snr_db, _NOISY_SNR_DB)
    distracting = below(snr_db, _SOMEBODY_ELSE_SNR_DB)
    applies = {
        "clipped": above(clipped_ms, _CLIPPED_MS),
        "too_quiet": below(loudness_lufs, _TOO_QUIET_LUFS),
        "noisy": noisy and background_kind is None,
        "hum": noisy and background_kind == "hum",
        "steady_noise": noisy and background_kind == "steady noise",
        "voices": distracting and background_kind == "voices",
        "music_behind": distracting and background_kind == "music",
        "gated": above(gated_a_minute, _GATED_A_MINUTE),
        "pumping": above(gain_pumping_db, _PUMPING_DB),
        "echo": above(echo_s, _ECHO_S),
        "nobody": below(somebody_share, _NOBODY_SHARE) and upright is not False,
        "sideways": upright is False,
        "dark": below(brightness, _DARK),
        "shaky": above(shake_percent, _SHAKY_PERCENT),
    }
    return tuple(key for key in TEXTS if applies.get(key))[:MOST]


def advice_texts(keys: tuple[str, ...], language: Language = "en") -> tuple[str, ...]:
    """Return the sentences for keys in a language.

    Raises
    ------
    ValueError
        For a language without a table.
    """
    if language not in get_args(Language):
        raise ValueError(f"there is no advice in {language!r}, only in {get_args(Language)}")
    return tuple(TEXTS[key][language] for key in keys)
