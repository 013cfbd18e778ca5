#include "dsp/picture/picture_file.hpp"

#include "dsp/picture/jpeg_pixels.hpp"
#include "dsp/picture/png_pixels.hpp"

#include <algorithm>
#include <array>
#include <optional>

namespace idlehark {

namespace {

using Bytes = std::span<const std::uint8_t>;

constexpr std::array<std::uint8_t, 8> kPngStart{0x89, 'P', 'N', 'G', 0x0d, 0x0a, 0x1a, 0x0a};

bool starts_with(Bytes file, Bytes start) {
    return file.size() >= start.size() && std::equal(start.begin(), start.end(), file.begin());
}

/// A whole number of `size` bytes, the most significant first; nothing beyond the end.
std::optional<std::uint32_t> number(Bytes bytes, std::size_t at, std::size_t size) {
    if (at > bytes.size() || bytes.size() - at < size) return std::nullopt;
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < size; ++i) value = value << 8u | bytes[at + i];
    return value;
}

PictureHead png_head(Bytes file) {
    constexpr std::uint32_t kIhdr = 0x49484452;  // must be the first chunk: another there could lie about the size
    if (const auto first = number(file, 12, 4); first && *first != kIhdr)
        return {.fault = "The picture is damaged at its start. Save it as JPEG again."};
    const auto width = number(file, 16, 4);
    const auto height = number(file, 20, 4);
    if (!width || !height) return {.fault = "The picture breaks off at its start."};
    PictureHead head{.width_px = *width, .height_px = *height, .orientation = 1, .fault = {}};
    return head;
}

PictureHead jpeg_head(Bytes file) {
    PictureHead head;
    std::size_t at = 2;
    for (;;) {
        const auto start = number(file, at, 1);
        const auto marker = number(file, at + 1, 1);
        if (!start || !marker || *start != 0xff) break;
        if (*marker == 0xff) {  // fill byte
            ++at;
            continue;
        }
        if (*marker == 0x01 || (*marker >= 0xd0 && *marker <= 0xd8)) {  // markers without a segment
            at += 2;
            continue;
        }
        const auto length = number(file, at + 2, 2);
        if (!length || *length < 2 || at + 2 + *length > file.size()) break;
        const auto segment = file.subspan(at + 4, *length - 2);
        if (*marker == 0xe1) head.orientation = std::max(head.orientation, exif_orientation(segment));
        const bool frame = *marker >= 0xc0 && *marker <= 0xcf && *marker != 0xc4 && *marker != 0xc8 && *marker != 0xcc;
        if (frame) {
            const auto height = number(file, at + 5, 2);
            const auto width = number(file, at + 7, 2);
            if (!height || !width) break;
            head.width_px = *width;
            head.height_px = *height;
            return head;
        }
        if (*marker == 0xda || *marker == 0xd9) break;  // the pixels start, and no size was told
        at += 2 + *length;
    }
    head.fault = "The picture is damaged, or breaks off at its start.";
    return head;
}

}  // namespace

PictureHead read_head(Bytes file) {
    constexpr std::array<std::uint8_t, 2> kJpegStart{0xff, 0xd8};
    PictureHead head;
    if (starts_with(file, kPngStart))
        head = png_head(file);
    else if (starts_with(file, kJpegStart))
        head = jpeg_head(file);
    else
        return {.fault = "This is neither a JPEG nor a PNG picture. Save the photo as JPEG and choose that."};
    if (head.fault.empty() && (head.width_px == 0 || head.height_px == 0)) head.fault = "The picture has no size.";
    return head;
}

DecodedPicture decode_picture(Bytes file, std::uint32_t longest_px) {
    const auto head = read_head(file);
    if (!head.fault.empty()) return {.fault = head.fault};
    if (std::uint64_t{head.width_px} * head.height_px > kMostPixels)
        return {.fault = "The picture has " + std::to_string(head.width_px) + " x " + std::to_string(head.height_px) +
                         " pixels, more than " + std::to_string(kMostPixels / 1'000'000) +
                         " million. Make it smaller and choose it again."};
    PicturePixels p{.width_px = head.width_px, .height_px = head.height_px};
    const auto decode = starts_with(file, kPngStart) ? png_pixels : jpeg_pixels;
    if (!decode(file, p.width_px, p.height_px, p.rgba))
        return {.fault = "The picture cannot be decoded: it is damaged, or of a rare kind. Save it as JPEG again."};
    shrink(p, longest_px);
    turn_upright(p, head.orientation);
    return {.pixels = std::move(p), .fault = {}};
}

}  // namespace idlehark
