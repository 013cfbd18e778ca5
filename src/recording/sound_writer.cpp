#include "src/recording/sound_file.hpp"
#include "src/recording/sound_handle.hpp"

#include <cmath>

#include <fmt/format.h>
#include <sndfile.h>

namespace idlehark {

struct SoundWriter::Parts {
    std::string path;
    SoundHandle handle;
};

SoundWriter::SoundWriter(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
SoundWriter::~SoundWriter() = default;
SoundWriter::SoundWriter(SoundWriter&&) noexcept = default;
SoundWriter& SoundWriter::operator=(SoundWriter&&) noexcept = default;

Result<SoundWriter> SoundWriter::open(const std::string& path, double sample_rate_hz) {
    SF_INFO info{};
    info.samplerate = static_cast<int>(std::lround(sample_rate_hz));
    info.channels = 1;
    if (path.ends_with(".wav"))
        info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
    else if (path.ends_with(".flac"))
        info.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_16;
    else if (path.ends_with(".ogg"))
        info.format = SF_FORMAT_OGG | SF_FORMAT_VORBIS;
    else
        return Error{path + ": sound is written as .wav, .flac or .ogg", ""};
    SoundHandle handle{sf_open(path.c_str(), SFM_WRITE, &info)};
    if (!handle) return Error{fmt::format("{}: cannot be written ({})", path, sf_strerror(nullptr)), ""};
    sf_command(handle.get(), SFC_SET_CLIPPING, nullptr, SF_TRUE);
    return SoundWriter{std::make_unique<Parts>(Parts{path, std::move(handle)})};
}

Result<Done> SoundWriter::write(AudioView samples) {
    const auto count = static_cast<sf_count_t>(samples.size());
    if (sf_writef_float(parts_->handle.get(), samples.data(), count) == count) return Done{};
    return Error{fmt::format("{}: writing stopped early ({})", parts_->path, sf_strerror(parts_->handle.get())),
                 "Is the disk full?"};
}

}  // namespace idlehark
