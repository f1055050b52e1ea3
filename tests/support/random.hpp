// Random numbers for tests, the same on every machine: the engine is fixed by the C++ standard, the
// distributions by Boost.Random's code.
#pragma once

#include <cstdint>
#include <random>
#include <vector>

#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>

namespace firstedge::test {

class Random {
 public:
  explicit Random(std::uint64_t seed) : engine_(seed) {}
  double uniform(double low, double high) {
    return boost::random::uniform_real_distribution<>(low, high)(engine_);
  }
  double normal(double mean, double deviation) {
    return boost::random::normal_distribution<>(mean, deviation)(engine_);
  }
  void add_white_noise(std::vector<double>& values, double deviation) {
    boost::random::normal_distribution<> noise(0, deviation);
    for (double& value : values) value += noise(engine_);
  }

 private:
  std::mt19937_64 engine_;
};

}  // namespace firstedge::test
