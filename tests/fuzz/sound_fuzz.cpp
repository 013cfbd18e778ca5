// Sound files, by either decoder: a message or samples; never more memory than a block, never an end that does not
// come.
#include "src/recording/sound_file.hpp"
#include "tests/fuzz/fuzz.hpp"

#include <algorithm>
#include <cmath>

using namespace idlehark;
using fuzz::must;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    constexpr std::uint64_t kEnough_frames = 20'000'000;  // minutes of sound out of a few bytes: silence, well coded
    if (size == 0) return 0;
    const fuzz::MemoryFile memory{fuzz::text_of(data + 1, size - 1)};
    auto opened = SoundFile::open(memory.path(), 1 + data[0] % 3);
    if (!opened) {
        must(!opened.error().what.empty(), "a refusal says why");
        return 0;
    }
    auto& sound = opened.value();
    const auto info = sound.info();
    must(info.sample_rate_hz >= 8000.0 && info.sample_rate_hz <= 192000.0 && info.channels >= 1,
         "it can be listened to");
    float loudest = 0.0F;
    std::uint64_t frames = 0;
    for (auto block = sound.read(); !block.empty() && frames < kEnough_frames; block = sound.read()) {
        must(block.size() <= 65536, "a block is not longer than promised");
        for (const float x : block) loudest = std::max(loudest, std::fabs(x));  // every sample is there to be read
        frames += block.size();
        must(sound.frames_read() == frames, "frames are counted as they are handed out");
    }
    must(!(loudest < 0.0F), "a level is a level");
    return 0;
}
