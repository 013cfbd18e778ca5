#include "src/recording/sound_decoder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <vector>

#include <fmt/format.h>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/samplefmt.h>
}

namespace idlehark {

namespace {

/// Only these are looked for in a file: no playlists, nothing that names other files or addresses.
constexpr const char* kContainers = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,amr,amrnb,amrwb,aac,asf,avi,mpegts";
/// Sound only: a film's picture is never decoded.
constexpr const char* kCodings =
    "aac,aac_latm,amrnb,amrwb,opus,vorbis,mp3float,mp3,mp2float,mp2,ac3,eac3,alac,flac,wmav1,wmav2,gsm,gsm_ms,qcelp,"
    "pcm_alaw,pcm_mulaw,pcm_u8,pcm_s8,pcm_s16le,pcm_s16be,pcm_s24le,pcm_s24be,pcm_s32le,pcm_s32be,pcm_f32le,pcm_f32be,"
    "pcm_f64le,pcm_f64be,adpcm_ima_qt,adpcm_ima_wav,adpcm_ms";
constexpr std::size_t kLargestBlock_bytes = 64U << 20U;  // of memory at once: an honest index of ten hours needs 40 MB
constexpr double kGapWorthFilling_s = 0.05;              // beyond the rounding of times in any of the containers
constexpr double kMostSilence_s = 600.0;
constexpr double kEndTolerance_s = 0.1;           // a sound track's stated length against what is decoded
constexpr double kWholeFileEndTolerance_s = 1.0;  // the picture may end later than the sound

struct CloseContainer {
    void operator()(AVFormatContext* c) const noexcept { avformat_close_input(&c); }
};
struct FreeCodec {
    void operator()(AVCodecContext* c) const noexcept { avcodec_free_context(&c); }
};
struct FreeFrame {
    void operator()(AVFrame* f) const noexcept { av_frame_free(&f); }
};
struct FreePacket {
    void operator()(AVPacket* p) const noexcept { av_packet_free(&p); }
};

std::string reason(int code) {
    std::array<char, AV_ERROR_MAX_STRING_SIZE> text{};
    av_strerror(code, text.data(), text.size());
    return text.data();
}

template <class T>
void append(const AVFrame& frame, std::size_t channel, double zero, double full_scale, std::vector<float>& to) {
    const auto channels = static_cast<std::size_t>(frame.ch_layout.nb_channels);
    const bool planar = av_sample_fmt_is_planar(static_cast<AVSampleFormat>(frame.format)) != 0;
    const std::uint8_t* from = planar ? frame.extended_data[channel] : frame.extended_data[0] + channel * sizeof(T);
    const std::size_t stride = sizeof(T) * (planar ? 1 : channels);
    for (int i = 0; i < frame.nb_samples; ++i, from += stride) {
        T value;
        std::memcpy(&value, from, sizeof value);
        to.push_back(static_cast<float>((static_cast<double>(value) - zero) / full_scale));
    }
}

void append_channel(const AVFrame& frame, std::size_t channel, std::vector<float>& to) {
    switch (av_get_packed_sample_fmt(static_cast<AVSampleFormat>(frame.format))) {
        case AV_SAMPLE_FMT_U8:
            return append<std::uint8_t>(frame, channel, 128.0, 128.0, to);
        case AV_SAMPLE_FMT_S16:
            return append<std::int16_t>(frame, channel, 0.0, 32768.0, to);
        case AV_SAMPLE_FMT_S32:
            return append<std::int32_t>(frame, channel, 0.0, 2147483648.0, to);
        case AV_SAMPLE_FMT_FLT:
            return append<float>(frame, channel, 0.0, 1.0, to);
        case AV_SAMPLE_FMT_DBL:
            return append<double>(frame, channel, 0.0, 1.0, to);
        default:
            to.insert(to.end(), static_cast<std::size_t>(frame.nb_samples), 0.0F);
    }
}

/// Frames stated for the track, 0 if unknown; of the whole file where the track says nothing.
std::uint64_t stated_frames(const AVFormatContext& container, const AVStream& track, double rate_hz) {
    double length_s = 0.0;
    if (track.duration > 0)
        length_s = static_cast<double>(track.duration) * av_q2d(track.time_base);
    else if (container.duration > 0)
        length_s = static_cast<double>(container.duration) / AV_TIME_BASE;
    const double frames = length_s * rate_hz;
    return frames > 0.0 && frames < 9e15 ? static_cast<std::uint64_t>(std::llround(frames)) : 0;
}

class PhoneDecoder final : public SoundDecoder {
   public:
    static DecoderResult open(const std::string& path, std::string_view head, int channel);

    [[nodiscard]] const SoundInfo& info() const noexcept override { return info_; }
    [[nodiscard]] AudioView read() override;
    [[nodiscard]] std::optional<std::string> warning() const override;

   private:
    /// Decodes until there is a frame; false at the end of the sound.
    bool next_frame();
    /// Hands the decoder what it asks for: the next packet of the track, or the news that there is none.
    void feed();
    void note_damage(int code) {
        ++damaged_;
        last_was_bad_ = code == AVERROR_INVALIDDATA;  // not: pauses that a speech coder left out
    }
    /// Where the container's clock says that sound is missing before this frame, silence.
    void fill_gap();
    void take_frame();

    std::string path_;
    std::unique_ptr<AVFormatContext, CloseContainer> container_;
    std::unique_ptr<AVCodecContext, FreeCodec> codec_;
    std::unique_ptr<AVFrame, FreeFrame> frame_{av_frame_alloc()};
    std::unique_ptr<AVPacket, FreePacket> packet_{av_packet_alloc()};
    const AVStream* track_ = nullptr;
    SoundInfo info_;
    std::size_t channel_ = 0;
    std::vector<float> block_;   // what was decoded last
    std::size_t given_ = 0;      // of it
    std::uint64_t silence_ = 0;  // frames owed before it
    bool waiting_ = false;       // the frame has not been taken yet
    bool no_more_packets_ = false;
    bool done_ = false;
    std::optional<double> origin_s_;  // container time of the first frame
    std::uint64_t frames_ = 0;        // decoded and filled
    std::uint64_t gaps_ = 0, filled_ = 0, damaged_ = 0;
    std::string changed_;        // to what the sound changed, where it may not
    bool cut_ = false;           // the container ends in the middle of something
    bool last_was_bad_ = false;  // nothing could be decoded since
};

DecoderResult PhoneDecoder::open(const std::string& path, std::string_view head, int channel) {
    av_log_set_level(AV_LOG_QUIET);
    av_max_alloc(kLargestBlock_bytes);

    auto decoder = std::make_unique<PhoneDecoder>();
    auto& d = *decoder;
    d.path_ = path;
    AVDictionary* options = nullptr;
    av_dict_set(&options, "format_whitelist", kContainers, 0);
    av_dict_set(&options, "codec_whitelist", kCodings, 0);
    av_dict_set(&options, "protocol_whitelist", "file", 0);
    AVFormatContext* opened = nullptr;
    const int code = avformat_open_input(&opened, ("file:" + path).c_str(), nullptr, &options);
    av_dict_free(&options);
    if (code == AVERROR_INVALIDDATA && is_mp4(head))
        return Error{path + ": its index is missing or damaged, as when a recording was interrupted or copied in part",
                     "Copy it from the telephone once more, or open it there: some recorders mend it then."};
    if (code < 0) return not_sound(path, reason(code));
    d.container_.reset(opened);

    for (unsigned i = 0; i < opened->nb_streams; ++i) {
        AVStream* stream = opened->streams[i];
        if (!d.track_ && stream->codecpar->codec_type == AVMEDIA_TYPE_AUDIO)
            d.track_ = stream;
        else
            stream->discard = AVDISCARD_ALL;
    }
    if (!d.track_)
        return Error{fmt::format("{}: has no sound track ({})", path,
                                 opened->nb_streams == 0 ? "nothing is in it" : "only a picture or film"),
                     "Record again with the microphone allowed."};
    const AVCodec* coding = avcodec_find_decoder(d.track_->codecpar->codec_id);
    if (coding) d.codec_.reset(avcodec_alloc_context3(coding));
    if (!d.codec_ || avcodec_parameters_to_context(d.codec_.get(), d.track_->codecpar) < 0)
        return not_sound(path, "its sound track is protected, or coded in a way that is not known");
    d.codec_->thread_count = 1;
    d.codec_->pkt_timebase = d.track_->time_base;
    d.codec_->codec_whitelist = av_strdup(kCodings);
    if (const int failed = avcodec_open2(d.codec_.get(), coding, nullptr); failed < 0)
        return not_sound(path, fmt::format("its sound track, {}: {}", coding->long_name, reason(failed)));

    if (!d.next_frame()) return not_sound(path, "nothing in its sound track can be decoded");
    d.info_ = {.sample_rate_hz = static_cast<double>(d.frame_->sample_rate),
               .channels = d.frame_->ch_layout.nb_channels,
               .frames = 0};
    if (const auto wrong = check_sound(path, d.info_, channel)) return *wrong;
    d.info_.frames = stated_frames(*opened, *d.track_, d.info_.sample_rate_hz);
    d.channel_ = static_cast<std::size_t>(channel - 1);
    d.waiting_ = true;
    return std::unique_ptr<SoundDecoder>{std::move(decoder)};
}

bool PhoneDecoder::next_frame() {
    for (;;) {
        const int code = avcodec_receive_frame(codec_.get(), frame_.get());
        if (code == 0 && frame_->nb_samples > 0) {
            last_was_bad_ = false;
            return true;
        }
        if (code == AVERROR_EOF) return false;
        if (code == AVERROR(EAGAIN)) {
            feed();
        } else if (code < 0) {
            note_damage(code);
            if (no_more_packets_) return false;
            feed();
        }
    }
}

void PhoneDecoder::feed() {
    while (!no_more_packets_) {
        const int code = av_read_frame(container_.get(), packet_.get());
        if (code < 0) {
            cut_ = code != AVERROR_EOF;
            no_more_packets_ = true;
            break;
        }
        const bool ours = packet_->stream_index == track_->index;
        if (ours && (packet_->flags & AV_PKT_FLAG_CORRUPT) != 0) cut_ = true;
        const int sent = ours ? avcodec_send_packet(codec_.get(), packet_.get()) : 0;
        av_packet_unref(packet_.get());
        if (sent < 0) note_damage(sent);
        if (ours && sent == 0) return;
    }
    avcodec_send_packet(codec_.get(), nullptr);
}

void PhoneDecoder::fill_gap() {
    if (frame_->best_effort_timestamp == AV_NOPTS_VALUE) return;
    const double at_s = static_cast<double>(frame_->best_effort_timestamp) * av_q2d(track_->time_base);
    const double rate_hz = info_.sample_rate_hz;
    if (!origin_s_) origin_s_ = at_s;
    const double missing_s = at_s - *origin_s_ - static_cast<double>(frames_) / rate_hz;
    if (!(missing_s > kGapWorthFilling_s)) return;
    ++gaps_;
    const double room_s = kMostSilence_s - static_cast<double>(filled_) / rate_hz;
    if (missing_s <= room_s) {
        silence_ = static_cast<std::uint64_t>(std::llround(missing_s * rate_hz));
        filled_ += silence_;
        frames_ += silence_;
    } else {  // no clock that can be trusted: what follows is joined on
        origin_s_ = *origin_s_ + missing_s;
    }
}

void PhoneDecoder::take_frame() {
    block_.clear();
    given_ = 0;
    if (static_cast<double>(frame_->sample_rate) != info_.sample_rate_hz)
        changed_ = fmt::format("sample rate changes to {} Hz", frame_->sample_rate);
    else if (channel_ >= static_cast<std::size_t>(frame_->ch_layout.nb_channels))
        changed_ = fmt::format("number of channels changes to {}", frame_->ch_layout.nb_channels);
    done_ = !changed_.empty();
    if (done_) return;
    fill_gap();
    append_channel(*frame_, channel_, block_);
    frames_ += block_.size();
}

AudioView PhoneDecoder::read() {
    static constexpr std::array<float, 4096> kSilence{};
    while (silence_ == 0 && given_ == block_.size()) {
        if (done_ || !(waiting_ || next_frame())) {
            done_ = true;
            return {};
        }
        waiting_ = false;
        take_frame();
    }
    if (silence_ > 0) {
        const auto n = std::min<std::uint64_t>(silence_, kSilence.size());
        silence_ -= n;
        return AudioView{kSilence}.first(n);
    }
    const auto block = AudioView{block_}.subspan(given_, std::min(block_.size() - given_, kBlockFrames));
    given_ += block.size();
    return block;
}

std::optional<std::string> PhoneDecoder::warning() const {
    const double rate_hz = info_.sample_rate_hz;
    const double read_s = static_cast<double>(frames_) / rate_hz;
    if (!changed_.empty())
        return fmt::format("{}: its {} after {:.1f} s; only the sound before is used", path_, changed_, read_s);
    const double stated_s = static_cast<double>(info_.frames) / rate_hz;
    const double tolerance_s = track_->duration > 0 ? kEndTolerance_s : kWholeFileEndTolerance_s;
    if (cut_ || last_was_bad_ || read_s < stated_s - tolerance_s) return breaks_off_warning(path_, read_s);
    if (gaps_ > 0 || damaged_ > 0)
        return fmt::format("{}: sound is missing or damaged at {} {}; {:.1f} s of silence stand in for it", path_,
                           std::max(gaps_, damaged_), std::max(gaps_, damaged_) == 1 ? "place" : "places",
                           static_cast<double>(filled_) / rate_hz);
    return {};
}

}  // namespace

DecoderResult open_phone_sound(const std::string& path, std::string_view head, int channel) {
    return PhoneDecoder::open(path, head, channel);
}

}  // namespace idlehark
