#pragma once

#include "gui/look/canvas.hpp"
#include "gui/look/fonts.hpp"

#include <filesystem>
#include <functional>
#include <string>

#include <SFML/Graphics/Image.hpp>
#include <SFML/Graphics/RenderTexture.hpp>
#include <catch2/catch.hpp>

namespace idlehark::gui {

/// Draws on a texture of that size and keeps the picture under IDLEHARK_SCREENS.
inline sf::Image screen(const std::string& name, unsigned width, unsigned height, double scale,
                        const std::function<void(Canvas&)>& draw) {
    std::string message;
    static const auto fonts = Fonts::load(message);
    INFO(message);
    REQUIRE(fonts);
    sf::RenderTexture target;
    REQUIRE(target.create(width, height));
    target.clear({palette::kPaper.r, palette::kPaper.g, palette::kPaper.b});
    {
        Canvas canvas{target, *fonts, scale};
        draw(canvas);
    }
    target.display();
    auto image = target.getTexture().copyToImage();
    std::filesystem::create_directories(IDLEHARK_SCREENS);
    REQUIRE(image.saveToFile(std::string{IDLEHARK_SCREENS} + "/" + name + ".png"));
    return image;
}

inline Rgb colour_at(const sf::Image& image, Point p) {
    const auto c = image.getPixel(static_cast<unsigned>(p.x), static_cast<unsigned>(p.y));
    return {c.r, c.g, c.b};
}

/// How many pixels within the box have about that colour.
inline int count_of(const sf::Image& image, const Box& b, Rgb c) {
    int n = 0;
    for (double y = std::max(0.0, b.y); y < std::min<double>(b.bottom(), image.getSize().y); ++y)
        for (double x = std::max(0.0, b.x); x < std::min<double>(b.right(), image.getSize().x); ++x)
            n += difference(colour_at(image, {x, y}), c) < 3.0 ? 1 : 0;
    return n;
}

}  // namespace idlehark::gui
