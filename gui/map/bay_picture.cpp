#include "gui/map/bay_picture.hpp"

#include "gui/map/jpeg_pixels.hpp"
#include "gui/map/png_pixels.hpp"

#include <algorithm>
#include <array>
#include <optional>

namespace idlehark::gui {

namespace {

using Bytes = std::span<const std::uint8_t>;

constexpr std::array<std::uint8_t, 8> kPngStart{0x89, 'P', 'N', 'G', 0x0d, 0x0a, 0x1a, 0x0a};

bool starts_with(Bytes file, Bytes start) {
    return file.size() >= start.size() && std::equal(start.begin(), start.end(), file.begin());
}

/// Reads whole numbers of either byte order, and nothing beyond the end.
struct Reader {
    Bytes bytes;
    bool little = false;

    [[nodiscard]] std::optional<std::uint32_t> number(std::size_t at, std::size_t size) const {
        if (at > bytes.size() || bytes.size() - at < size) return std::nullopt;
        std::uint32_t value = 0;
        for (std::size_t i = 0; i < size; ++i) value = value << 8u | bytes[at + (little ? size - 1 - i : i)];
        return value;
    }
};

/// The orientation in the first directory of an Exif segment; 1 if there is none.
int orientation_in(Bytes segment) {
    constexpr std::array<std::uint8_t, 6> kExif{'E', 'x', 'i', 'f', 0, 0};
    if (!starts_with(segment, kExif)) return 1;
    Reader tiff{segment.subspan(kExif.size())};
    const auto byte_order = tiff.number(0, 2);
    if (!byte_order || (*byte_order != 0x4949 && *byte_order != 0x4d4d)) return 1;
    tiff.little = *byte_order == 0x4949;
    const auto directory = tiff.number(4, 4);
    if (!directory) return 1;
    const auto entries = tiff.number(*directory, 2);
    if (!entries) return 1;
    for (std::uint32_t i = 0; i < *entries; ++i) {
        const std::size_t entry = std::size_t{*directory} + 2 + std::size_t{12} * i;
        const auto tag = tiff.number(entry, 2);
        const auto value = tiff.number(entry + 8, 2);
        if (!tag || !value) return 1;
        if (*tag == 0x0112) return *value >= 1 && *value <= 8 ? static_cast<int>(*value) : 1;
    }
    return 1;
}

PictureHead png_head(Bytes file) {
    constexpr std::uint32_t kIhdr = 0x49484452;  // must be the first chunk: another there could lie about the size
    const Reader reader{file};
    if (const auto first = reader.number(12, 4); first && *first != kIhdr)
        return {.fault = "The picture is damaged at its start. Save it as JPEG again."};
    const auto width = reader.number(16, 4);
    const auto height = reader.number(20, 4);
    if (!width || !height) return {.fault = "The picture breaks off at its start."};
    PictureHead head{.width_px = *width, .height_px = *height, .orientation = 1, .fault = {}};
    return head;
}

PictureHead jpeg_head(Bytes file) {
    const Reader reader{file};
    PictureHead head;
    std::size_t at = 2;
    for (;;) {
        const auto start = reader.number(at, 1);
        const auto marker = reader.number(at + 1, 1);
        if (!start || !marker || *start != 0xff) break;
        if (*marker == 0xff) {  // fill byte
            ++at;
            continue;
        }
        if (*marker == 0x01 || (*marker >= 0xd0 && *marker <= 0xd8)) {  // markers without a segment
            at += 2;
            continue;
        }
        const auto length = reader.number(at + 2, 2);
        if (!length || *length < 2 || at + 2 + *length > file.size()) break;
        const auto segment = file.subspan(at + 4, *length - 2);
        if (*marker == 0xe1) head.orientation = std::max(head.orientation, orientation_in(segment));
        const bool frame = *marker >= 0xc0 && *marker <= 0xcf && *marker != 0xc4 && *marker != 0xc8 && *marker != 0xcc;
        if (frame) {
            const auto height = reader.number(at + 5, 2);
            const auto width = reader.number(at + 7, 2);
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

/// Each pixel the mean of a square of the larger one.
void shrink(BayPicture& p, std::uint32_t longest) {
    const std::uint32_t by = (std::max(p.width_px, p.height_px) + longest - 1) / longest;
    if (by <= 1) return;
    const std::uint32_t width = std::max(1u, p.width_px / by);
    const std::uint32_t height = std::max(1u, p.height_px / by);
    const std::uint32_t tall = std::min(by, p.height_px);
    const std::uint32_t wide = std::min(by, p.width_px);
    std::vector<std::uint8_t> small(std::size_t{4} * width * height);
    for (std::uint32_t y = 0; y < height; ++y)
        for (std::uint32_t x = 0; x < width; ++x) {
            std::array<std::uint32_t, 4> sum{};
            for (std::uint32_t v = 0; v < tall; ++v) {
                const std::uint8_t* pixel =
                    p.rgba.data() + 4 * (std::size_t{y * by + v} * p.width_px + std::size_t{x} * by);
                for (std::uint32_t u = 0; u < wide; ++u)
                    for (auto& s : sum) s += *pixel++;
            }
            for (std::size_t c = 0; c < 4; ++c)
                small[4 * (std::size_t{y} * width + x) + c] = static_cast<std::uint8_t>(sum[c] / (tall * wide));
        }
    p.rgba = std::move(small);
    p.width_px = width;
    p.height_px = height;
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

void turn_upright(BayPicture& p, int orientation) {
    if (orientation <= 1 || orientation > 8) return;
    const bool crossed = orientation >= 5;
    const std::uint32_t width = crossed ? p.height_px : p.width_px;
    const std::uint32_t height = crossed ? p.width_px : p.height_px;
    std::vector<std::uint8_t> turned(p.rgba.size());
    for (std::uint32_t y = 0; y < height; ++y)
        for (std::uint32_t x = 0; x < width; ++x) {
            // Where the pixel that shall be seen at x, y is stored.
            std::uint32_t from_x = crossed ? y : x;
            std::uint32_t from_y = crossed ? x : y;
            if (orientation == 2 || orientation == 3 || orientation == 7 || orientation == 8)
                from_x = p.width_px - 1 - from_x;
            if (orientation == 3 || orientation == 4 || orientation == 6 || orientation == 7)
                from_y = p.height_px - 1 - from_y;
            std::copy_n(p.rgba.begin() + static_cast<std::ptrdiff_t>(4 * (std::size_t{from_y} * p.width_px + from_x)),
                        4, turned.begin() + static_cast<std::ptrdiff_t>(4 * (std::size_t{y} * width + x)));
        }
    p.rgba = std::move(turned);
    p.width_px = width;
    p.height_px = height;
}

BayPicture decode_picture(Bytes file) {
    const auto head = read_head(file);
    if (!head.fault.empty()) return {.fault = head.fault};
    if (std::uint64_t{head.width_px} * head.height_px > kMostPixels)
        return {.fault = "The picture has " + std::to_string(head.width_px) + " x " + std::to_string(head.height_px) +
                         " pixels, more than " + std::to_string(kMostPixels / 1'000'000) +
                         " million. Make it smaller and choose it again."};
    BayPicture p{.width_px = head.width_px, .height_px = head.height_px, .fault = {}};
    const auto pixels = starts_with(file, kPngStart) ? png_pixels : jpeg_pixels;
    if (!pixels(file, p.width_px, p.height_px, p.rgba))
        return {.fault = "The picture cannot be decoded: it is damaged, or of a rare kind. Save it as JPEG again."};
    shrink(p, kLongestSide_px);
    turn_upright(p, head.orientation);
    return p;
}

}  // namespace idlehark::gui
