#include "src/casebook/picture_store.hpp"

#include "dsp/picture/picture_pixels.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>

namespace idlehark {

namespace {

constexpr std::size_t kLargestPicture_bytes = 40U << 20U;
constexpr std::string_view kPng = "\x89PNG\r\n\x1a\n";

std::uint32_t big_endian(std::string_view bytes, std::size_t at, std::size_t count) {
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < count; ++i) value = (value << 8U) | static_cast<unsigned char>(bytes[at + i]);
    return value;
}

/// An APP1 segment that holds the orientation and nothing else.
std::string orientation_segment(int orientation) {
    std::string segment{
        "\xff\xe1\x00\x22"
        "Exif\0\0"
        "MM\0\x2a\0\0\0\x08"
        "\0\x01"
        "\x01\x12\0\x03\0\0\0\x01\0\0\0\0"
        "\0\0\0\0",
        36};
    constexpr std::size_t kValue = 29;
    segment[kValue] = static_cast<char>(orientation);
    return segment;
}

/// Where the scan's data that begin at `at` end: at the first mark in them that is no stuffed byte, restart or fill.
std::size_t scan_end(std::string_view bytes, std::size_t at) {
    for (; at + 1 < bytes.size(); ++at) {
        if (static_cast<unsigned char>(bytes[at]) != 0xff) continue;
        const auto next = static_cast<unsigned char>(bytes[at + 1]);
        if (next != 0x00 && next != 0xff && (next < 0xd0 || next > 0xd7)) return at;
    }
    return bytes.size();
}

/// Up to the end mark of the first picture: what lies behind it may be another one, or a film, with data of its own.
std::optional<std::string> clean_jpeg(std::string_view bytes) {
    std::string out{bytes.substr(0, 2)};
    const auto* const data = reinterpret_cast<const std::uint8_t*>(bytes.data());
    int orientation = 1;
    bool scanned = false;
    for (std::size_t at = 2; at + 2 <= bytes.size();) {
        if (static_cast<unsigned char>(bytes[at]) != 0xff) return {};
        const auto marker = static_cast<unsigned char>(bytes[at + 1]);
        if (marker == 0xff) {  // fill byte
            ++at;
            continue;
        }
        if (marker == 0xd9) {
            if (!scanned) return {};
            out += bytes.substr(at, 2);
            if (orientation != 1) out.insert(2, orientation_segment(orientation));
            return out;
        }
        if (at + 4 > bytes.size()) return {};
        const std::size_t length = 2 + big_endian(bytes, at + 2, 2);
        if (length < 4 || at + length > bytes.size()) return {};
        if (marker == 0xe1) orientation = std::max(orientation, exif_orientation({data + at + 4, length - 4}));
        const bool tells = (marker >= 0xe1 && marker <= 0xef && marker != 0xe2 && marker != 0xee) || marker == 0xfe;
        // APP2 also carries further pictures and their data; only the colour profile stays.
        const bool other_app2 = marker == 0xe2 && bytes.substr(at + 4, 11) != "ICC_PROFILE";
        const bool scan = marker == 0xda;  // a part of the picture itself follows its head
        const auto end = scan ? scan_end(bytes, at + length) : at + length;
        if (!tells && !other_app2) out += bytes.substr(at, end - at);
        scanned = scanned || scan;
        at = end;
    }
    return {};
}

std::optional<std::string> clean_png(std::string_view bytes) {
    constexpr std::array<std::string_view, 5> kTelling{"tEXt", "zTXt", "iTXt", "tIME", "eXIf"};
    std::string out{kPng};
    for (std::size_t at = kPng.size(); at + 12 <= bytes.size();) {
        const std::size_t length = std::size_t{big_endian(bytes, at, 4)} + 12;
        if (length > bytes.size() - at) return {};
        const auto type = bytes.substr(at + 4, 4);
        if (std::find(kTelling.begin(), kTelling.end(), type) == kTelling.end()) out += bytes.substr(at, length);
        if (type == "IEND") return out;
        at += length;
    }
    return {};
}

}  // namespace

std::optional<std::string> without_camera_data(std::string_view bytes) {
    if (bytes.starts_with("\xff\xd8\xff")) return clean_jpeg(bytes);
    if (bytes.starts_with(kPng)) return clean_png(bytes);
    return {};
}

Result<std::string> picture_to_keep(const std::string& path) {
    std::error_code code;
    const auto size = std::filesystem::file_size(path, code);
    if (code) return Error{path + ": " + code.message(), "Check the name and the folder."};
    if (size > kLargestPicture_bytes) return Error{path + ": is larger than 40 MB", "Save it smaller."};
    std::ifstream in{path, std::ios::binary};
    std::string bytes(size, '\0');
    if (!in.read(bytes.data(), static_cast<std::streamsize>(bytes.size()))) return Error{path + ": cannot be read", ""};
    auto clean = without_camera_data(bytes);
    if (!clean) return Error{path + ": is no whole JPEG or PNG picture", "Save it as .jpg or .png."};
    return *std::move(clean);
}

Result<std::string> map_photo(const BayMap& map, const std::string& beside) {
    if (map.picture.empty()) return std::string{};
    auto bytes = picture_to_keep((std::filesystem::path{beside} / map.picture).string());
    if (!bytes) return Error{"the map's photo: " + bytes.error().what, bytes.error().hint};
    return bytes;
}

Result<std::string> store_picture(const CaseFolder& folder, const std::string& wish, std::string_view picture,
                                  const std::vector<std::string>& held) {
    std::filesystem::path name{safe_name(wish)};
    name.replace_extension(picture.starts_with(kPng) ? ".png" : ".jpg");
    auto target = folder.fresh("pictures", name.string(), held);
    if (!target) return target.error();
    if (const auto written = write_safely(target.value(), picture); !written) return written.error();
    return target;
}

}  // namespace idlehark
