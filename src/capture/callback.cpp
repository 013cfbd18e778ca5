#include "src/capture/callback.hpp"

extern "C" int idlehark_on_audio(const void* in, void*, unsigned long frames, const PaStreamCallbackTimeInfo*,
                                 PaStreamCallbackFlags flags, void* user) noexcept {
    auto& capture = *static_cast<idlehark::Capture*>(user);
    if (flags & (paInputOverflow | paInputUnderflow)) capture.note_device_gap();
    if (in) capture.submit(static_cast<const float*>(in), frames);
    return paContinue;
}
