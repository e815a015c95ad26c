"""What a shop, a microphone and a telephone line do to clean speech, on the training device."""

from __future__ import annotations

import math

import torch

RATE = 16000
NOISE_SECONDS = 12


def _uniform(low: float, high: float, *size: int, device: torch.device) -> torch.Tensor:
    return low + (high - low) * torch.rand(*size, device=device)


def _one_in(probability: float, count: int, device: torch.device) -> torch.Tensor:
    """A column of zeros and ones."""
    return (torch.rand(count, 1, device=device) < probability).float()


def _unit(x: torch.Tensor) -> torch.Tensor:
    return x / (x.square().mean(1, keepdim=True).sqrt() + 1e-6)


def _band_noise(count: int, samples: int, device: torch.device) -> torch.Tensor:
    """Noise of random tilt, up to three random humps, and half the time random band limits."""
    bins = samples // 2 + 1
    f = torch.linspace(0, 1, bins, device=device)[None].clamp(min=1e-3)
    shape = f.pow(-_uniform(-0.4, 1.8, count, 1, device=device))
    for _ in range(3):
        center, width = (
            torch.rand(count, 1, device=device),
            _uniform(0.02, 0.22, count, 1, device=device),
        )
        height = torch.randn(count, 1, device=device) * 1.2
        shape = shape * torch.exp(height * torch.exp(-(((f - center) / width) ** 2)))
    limits = _one_in(0.5, count, device)
    low, high = (
        _uniform(0.0, 0.25, count, 1, device=device),
        _uniform(0.3, 1.0, count, 1, device=device),
    )
    band = torch.sigmoid((f - low) / 0.01) * torch.sigmoid((high - f) / 0.02)
    shape = shape * (1 - limits + limits * band.clamp(min=1e-3))
    white = torch.randn(count, bins, dtype=torch.complex64, device=device)
    return _unit(torch.fft.irfft(white * shape, samples))


def _wobble(count: int, samples: int, rate_hz: float, device: torch.device) -> torch.Tensor:
    """Smooth random curves of mean 0 and deviation 1."""
    points = max(3, int(samples / RATE * rate_hz) + 2)
    knots = torch.randn(count, 1, points, device=device)
    return torch.nn.functional.interpolate(knots, size=samples, mode="linear", align_corners=True)[
        :, 0
    ]


def _machine(count: int, samples: int, device: torch.device) -> torch.Tensor:
    """A motor: harmonics of a slightly unsteady tone."""
    base = torch.exp(_uniform(math.log(22), math.log(450), count, 1, device=device))
    unsteady = 1 + 0.004 * _wobble(count, samples, 2.0, device)
    phase = 2 * math.pi * torch.cumsum(base * unsteady / RATE, 1)
    decay = _uniform(0.5, 0.95, count, 1, device=device)
    sound = torch.zeros(count, samples, device=device)
    for harmonic in range(1, 25):
        audible = (base * harmonic < 7500).float()
        turn = _uniform(0, 6.28, count, 1, device=device)
        sound = sound + audible * decay**harmonic * torch.sin(harmonic * phase + turn)
    return _unit(sound)


def _clanks(count: int, samples: int, device: torch.device) -> torch.Tensor:
    """Struck metal: bursts of dying tones at random moments."""
    sound = torch.zeros(count, samples, device=device)
    length = RATE // 3
    t = torch.arange(length, device=device)[None] / RATE
    for _ in range(2 * NOISE_SECONDS):
        fade = torch.exp(-t / _uniform(0.01, 0.12, count, 1, device=device))
        tones = torch.zeros(count, length, device=device)
        for _ in range(4):
            hz = _uniform(300, 6500, count, 1, device=device)
            tones = tones + torch.sin(2 * math.pi * hz * t)
        at = int(torch.randint(0, samples - length, (1,)))
        loud = _uniform(0.0, 1.5, count, 1, device=device)
        sound[:, at : at + length] += fade * tones * loud
    return _unit(sound)


def shop_noise(count: int, device: torch.device) -> torch.Tensor:
    """Made-up shop noises, NOISE_SECONDS each, level 1: fans, motors, sanders, rain, clanks."""
    samples = NOISE_SECONDS * RATE
    noise = _band_noise(count, samples, device)
    noise = noise * (1 + _one_in(0.5, count, device) * 0.2 * _wobble(count, samples, 4.0, device))
    motor = _machine(count, samples, device)
    motor = motor * (1 + 0.2 * _wobble(count, samples, 2.0, device))
    share = _one_in(0.6, count, device) * _uniform(0.1, 1.5, count, 1, device=device)
    noise = noise + share * motor
    metal = _one_in(0.15, count, device) * _uniform(1.0, 5.0, count, 1, device=device)
    noise = noise + metal * _clanks(count, samples, device)
    t = torch.arange(samples, device=device)[None] / RATE
    pulse = torch.sin(
        2 * math.pi * _uniform(0.2, 6, count, 1, device=device) * t
        + _uniform(0, 6.28, count, 1, device=device)
    )
    return _unit(noise * (1 + _one_in(0.2, count, device) * 0.8 * pulse))


def convolve(x: torch.Tensor, response: torch.Tensor) -> torch.Tensor:
    """Each row with its own response, cut to the row's length."""
    n = x.shape[1] + response.shape[1]
    spectrum = torch.fft.rfft(x, n) * torch.fft.rfft(response, n)
    out: torch.Tensor = torch.fft.irfft(spectrum, n)
    return out[:, : x.shape[1]]


def room(count: int, device: torch.device) -> torch.Tensor:
    """Impulse responses of half a second: the direct sound, then a dying echo (60 % of them)."""
    t = torch.arange(RATE // 2, device=device)[None] / RATE
    lasting = _uniform(0.08, 0.9, count, 1, device=device)
    echo = torch.randn(count, RATE // 2, device=device) * torch.exp(-6.9 * t / lasting)
    echo = echo * (t > 0.002) * (t < lasting)
    echo = echo / (echo.square().sum(1, keepdim=True).sqrt() + 1e-6)
    level = 10 ** (-_uniform(-6, 18, count, 1, device=device) / 20)
    echo = echo * level * _one_in(0.6, count, device)
    echo[:, 0] = 1
    return echo


def channel(x: torch.Tensor, *, telephone: float) -> torch.Tensor:
    """Microphone and line: tilt, humps, high pass, and a low pass in part of the rows.

    Args:
        telephone: share of the rows cut between 3.1 and 4 kHz, as sound of 8 kHz is.
    """
    count, samples = x.shape
    device = x.device
    f = torch.linspace(0, RATE / 2, samples // 2 + 1, device=device)[None]
    tilt = _uniform(-7, 7, count, 1, device=device)
    gain = 10 ** (tilt * torch.log2((f + 100) / 1000) / 60)
    narrow = _one_in(telephone, count, device)
    middle = (1 - narrow) * _one_in(0.2, count, device)
    cut = (
        narrow * _uniform(3100, 4000, count, 1, device=device)
        + middle * _uniform(4200, 7400, count, 1, device=device)
        + (1 - narrow - middle) * 9000
    )
    sharp = _uniform(15, 120, count, 1, device=device)
    gain = gain * torch.sigmoid(((cut - f) / sharp).clamp(-40, 40))
    low = _one_in(0.5, count, device) * _uniform(500, 900, count, 1, device=device) - 500
    gain = gain * torch.sigmoid(((f - low) / 25).clamp(-40, 40))
    for _ in range(2):
        center, width = (
            _uniform(0, 7000, count, 1, device=device),
            _uniform(200, 1400, count, 1, device=device),
        )
        height = torch.randn(count, 1, device=device) * 0.4
        gain = gain * torch.exp(height * torch.exp(-(((f - center) / width) ** 2)))
    out: torch.Tensor = torch.fft.irfft(torch.fft.rfft(x) * gain, samples)
    return out


def mu_law(x: torch.Tensor) -> torch.Tensor:
    """x in -1 to 1 through 8 bits of mu-law (ITU-T G.711, mu = 255)."""
    small = torch.log1p(255 * x.abs().clamp(max=1)) / math.log(256)
    small = torch.round(small * 127) / 127
    return torch.sign(x) * (torch.pow(256.0, small) - 1) / 255


class Augmenter:
    """Noise, rooms, microphones and levels, drawn anew for every utterance.

    Args:
        clips: made-up noises kept at hand; now and then one is replaced.
        talk: sound of other speakers for babble, one row, any level; None for no babble.
    """

    def __init__(
        self,
        device: torch.device,
        *,
        clips: int = 384,
        talk: torch.Tensor | None = None,
        telephone: float = 0.35,
    ) -> None:
        self.device, self.talk, self.telephone = device, talk, telephone
        self.noises = torch.cat([shop_noise(32, device) for _ in range(max(1, clips // 32))])

    def _noise(self, count: int, samples: int) -> torch.Tensor:
        device = self.device
        if torch.rand(1).item() < 0.2:  # Making noise costs more than a step of training.
            self.noises[int(torch.randint(len(self.noises), (1,)))] = shop_noise(1, device)[0]
        which = torch.randint(len(self.noises), (count,), device=device)
        start = torch.randint(self.noises.shape[1], (count, 1), device=device)
        place = (start + torch.arange(samples, device=device)[None]) % self.noises.shape[1]
        noise = self.noises[which[:, None], place]
        if self.talk is not None and len(self.talk) > samples + 1:
            talkers = torch.randint(len(self.talk) - samples, (count, 3), device=device)
            babble = torch.zeros(count, samples, device=device)
            for column in range(3):
                place = talkers[:, column : column + 1] + torch.arange(samples, device=device)
                babble = babble + self.talk[place].float()
            is_babble = _one_in(0.12, count, device)
            # Babble is speech too: at the levels of the other noises nobody could tell them apart.
            noise = _unit(noise) * (1 - is_babble) + 0.5 * is_babble * _unit(babble)
        return _unit_keep(noise)

    def __call__(self, x: torch.Tensor, active: torch.Tensor) -> torch.Tensor:
        """(utterances, samples) of 16-bit scale, changed; `active` marks the speech (0 or 1)."""
        count, samples = x.shape
        device = self.device
        x = convolve(x / 32768, room(count, device))
        speech = (x * active).square().sum(1, keepdim=True) / active.sum(1, keepdim=True).clamp(1)
        snr_db = _uniform(-4, 26, count, 1, device=device)
        snr_db = torch.where(torch.rand(count, 1, device=device) < 0.15, 45.0, snr_db)
        noise = self._noise(count, samples) * (speech.sqrt() + 1e-5) * 10 ** (-snr_db / 20)
        # Half of the time the noise goes through the microphone too, half it is the line's own.
        before = _one_in(0.7, count, device)
        x = channel(x + before * noise, telephone=self.telephone) + (1 - before) * noise * 0.5
        x = x / (x.abs().amax(1, keepdim=True) + 1e-6)
        over = 1 + _one_in(0.1, count, device) * _uniform(0, 4, count, 1, device=device)
        x = (x * over).clamp(-1, 1)
        coded = _one_in(0.1, count, device)
        x = x * (1 - coded) + mu_law(x) * coded
        gain = 10 ** (-_uniform(0.5, 36, count, 1, device=device) / 20)
        return torch.round(x * gain * 32767)


def _unit_keep(noise: torch.Tensor) -> torch.Tensor:
    """Rows quieter than 1 stay so, louder ones come down to 1."""
    level = noise.square().mean(1, keepdim=True).sqrt()
    return noise / level.clamp(min=1.0)
