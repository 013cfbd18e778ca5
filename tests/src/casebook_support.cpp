#include "tests/src/casebook_support.hpp"

#include <cmath>
#include <numbers>
#include <random>
#include <stdexcept>
#include <vector>

namespace idlehark::test {

namespace {
constexpr double kRate_hz = 16000.0;
}

Engine example_engine() {
    Engine e;
    e.name = "Marlow 1600 (invented)";
    e.cylinders = 4;
    e.firing_order = {1, 3, 4, 2};
    e.idle_low_rpm = 700.0;
    e.idle_high_rpm = 950.0;
    return e;
}

BayMap example_map() {
    BayMap map;
    map.name = "Marlow 1600";
    map.spots = {{"3", "throttle shaft", SpotKind::throttle, 100.0, 50.0, {}},
                 {"7", "plenum gasket, rear", SpotKind::gasket, 310.0, 120.0, 3},
                 {"9", "brake hose", SpotKind::hose, 500.0, 40.0, {}}};
    return map;
}

Casebook new_case(const std::string& folder) {
    auto book = Casebook::create(folder, "Marlow", example_engine(), example_map());
    if (!book) throw std::runtime_error(book.error().what);
    return std::move(book.value());
}

std::string tone_file(const ScratchFolder& folder, const std::string& name, double seconds) {
    std::vector<float> x(static_cast<std::size_t>(seconds * kRate_hz));
    for (std::size_t i = 0; i < x.size(); ++i)
        x[i] = static_cast<float>(0.5 * std::sin(2.0 * std::numbers::pi * 100.0 * static_cast<double>(i) / kRate_hz));
    auto writer = SoundWriter::open(folder.path(name), kRate_hz);
    if (!writer || !writer.value().write(x)) throw std::runtime_error("no tone written");
    return folder.path(name);
}

std::string stereo_file(const ScratchFolder& folder, const std::string& name, int format) {
    std::mt19937 random{7};
    std::vector<float> x(2 * 8000);
    for (auto& v : x) v = static_cast<float>(static_cast<std::int32_t>(random())) / 2147483648.0F * 0.9F;
    SF_INFO info{};
    info.samplerate = static_cast<int>(kRate_hz);
    info.channels = 2;
    info.format = format;
    SNDFILE* file = sf_open(folder.path(name).c_str(), SFM_WRITE, &info);
    if (!file) throw std::runtime_error("no stereo file written");
    sf_writef_float(file, x.data(), 8000);
    sf_close(file);
    return folder.path(name);
}

}  // namespace idlehark::test
