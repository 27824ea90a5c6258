// What was written for the ear, for people and for machines.
#pragma once

#include <string>

#include "gearhark/repair/listen.hpp"

namespace gearhark {

struct WrittenSounds {
  std::string alone;  // file of the band alone
  bool half_speed = false;
  std::string imagined, imagined_alone;  // "": not asked for
};

std::string listening_text(const Listening& listening, const WrittenSounds& files);
// schema/listening.json is its schema.
std::string listening_json(const Listening& listening, const WrittenSounds& files);

}  // namespace gearhark
