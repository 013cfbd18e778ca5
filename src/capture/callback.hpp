#pragma once

#include "src/capture/capture.hpp"

#include <portaudio.h>

/// PortAudio's input callback; `user` is the Capture. Copies and counts, nothing else; stopping is the owner's work.
extern "C" int idlehark_on_audio(const void* in, void* out, unsigned long frames, const PaStreamCallbackTimeInfo* time,
                                 PaStreamCallbackFlags flags, void* user) noexcept;
