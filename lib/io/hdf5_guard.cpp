#include "firstedge/io/hdf5_guard.hpp"

#include <cstdlib>

namespace firstedge {
namespace {

std::recursive_mutex& shared_mutex() {
  static std::recursive_mutex mutex;
  return mutex;
}

// A damaged file can make HDF5 1.10 lose memory of its own, which it deplores on standard error when the
// program ends, unless its error printing is off then. Handlers run in the reverse order of registration, so
// that this one comes before HDF5's.
bool be_quiet_at_exit() {
  H5::H5Library::open();
  return std::atexit([] { H5Eset_auto2(H5E_DEFAULT, nullptr, nullptr); }) == 0;
}

}  // namespace

Hdf5Guard::Hdf5Guard() : lock_(shared_mutex()) {
  [[maybe_unused]] static const bool is_quiet = be_quiet_at_exit();
  H5Eget_auto2(H5E_DEFAULT, &printer_, &printer_data_);
  H5Eset_auto2(H5E_DEFAULT, nullptr, nullptr);
}

Hdf5Guard::~Hdf5Guard() {
  H5Eset_auto2(H5E_DEFAULT, printer_, printer_data_);
}

}  // namespace firstedge
