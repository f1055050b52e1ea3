#include "firstedge/io/hdf5_guard.hpp"

namespace firstedge {
namespace {

std::recursive_mutex& shared_mutex() {
  static std::recursive_mutex mutex;
  return mutex;
}

}  // namespace

Hdf5Guard::Hdf5Guard() : lock_(shared_mutex()) {
  H5Eget_auto2(H5E_DEFAULT, &printer_, &printer_data_);
  H5Eset_auto2(H5E_DEFAULT, nullptr, nullptr);
}

Hdf5Guard::~Hdf5Guard() {
  H5Eset_auto2(H5E_DEFAULT, printer_, printer_data_);
}

}  // namespace firstedge
